//! The raw tables as queries read them, `lake.TABLE`: of one lake, or of a lake and others beside it
//! whose facts are read as if they stood in it. Nothing is written to any of them.

use std::sync::Arc;

use datafusion::catalog::{MemorySchemaProvider, TableProvider};
use datafusion::datasource::empty::EmptyTable;
use datafusion::error::DataFusionError;
use datafusion::prelude::{DataFrame, SessionContext, ident, lit};
use datafusion::scalar::ScalarValue;

use super::AnalysisError;
use lake::Lake;
use lake::tables::{ROW_HASH, TABLES, Table};

/// Registers every raw table under `lake.TABLE`: the lake's rows, then those of each lake beside it
/// that are not there yet. Gives about how many rows there are.
pub async fn register(
    context: &SessionContext,
    lake: &Lake,
    beside: &[&Lake],
) -> Result<usize, AnalysisError> {
    let mut rows = register_lake(context, lake, "lake").await?;
    for (at, other) in beside.iter().enumerate() {
        let schema = format!("beside_{at}");
        rows += register_lake(context, other, &schema).await?;
        for table in TABLES {
            let both = context
                .sql(&joined_sql(table, "lake", &schema))
                .await
                .map_err(AnalysisError::query(table.name))?
                .into_view();
            let name = format!("lake.{}", table.name);
            // The plan of the view holds the table it reads, so the name is free for the view.
            context
                .deregister_table(name.as_str())
                .and_then(|_| context.register_table(name.as_str(), both))
                .map_err(AnalysisError::query(table.name))?;
        }
    }
    Ok(rows)
}

/// The SQL of the rows of both schemas' tables, without those of `other` that `own` has: by their key,
/// or by their content where rows have none.
fn joined_sql(table: &Table, own: &str, other: &str) -> String {
    let design = table.lake_schema();
    let columns = |of: &str| {
        let names: Vec<String> = design
            .fields()
            .iter()
            .map(|field| format!("{of}.{}", field.name()))
            .collect();
        names.join(", ")
    };
    let same: Vec<String> = match table.key {
        [] => vec![format!("known.{ROW_HASH} = b.{ROW_HASH}")],
        key => key
            .iter()
            .map(|column| format!("known.{column} = b.{column}"))
            .collect(),
    };
    format!(
        "SELECT {} FROM {own}.{name} a UNION ALL \
         SELECT {} FROM {other}.{name} b LEFT ANTI JOIN {own}.{name} known ON {}",
        columns("a"),
        columns("b"),
        same.join(" AND "),
        name = table.name
    )
}

async fn register_lake(
    context: &SessionContext,
    lake: &Lake,
    schema: &str,
) -> Result<usize, AnalysisError> {
    let catalog = context
        .catalog("datafusion")
        .ok_or_else(|| AnalysisError::NoSuchTable("datafusion".to_owned()))?;
    catalog
        .register_schema(schema, Arc::new(MemorySchemaProvider::new()))
        .map_err(AnalysisError::query(schema))?;
    let mut rows = 0;
    for table in TABLES {
        rows += lake.rows_counted(table);
        let as_designed = as_designed(context, lake, table).await?;
        context
            .register_table(format!("{schema}.{}", table.name), as_designed)
            .map_err(AnalysisError::query(table.name))?;
    }
    Ok(rows)
}

/// The stored table with every column of its design: one that the lake is too old for is absent in
/// every row.
async fn as_designed(
    context: &SessionContext,
    lake: &Lake,
    table: &Table,
) -> Result<Arc<dyn TableProvider>, AnalysisError> {
    let failed = |error| AnalysisError::query(table.name)(error);
    let design = table.lake_schema();
    let Some(stored) = lake.provider(table).await? else {
        return Ok(Arc::new(EmptyTable::new(design)));
    };
    let columns = design
        .fields()
        .iter()
        .map(|field| {
            let name = field.name();
            match stored.schema().column_with_name(name) {
                Some(_) => Ok(ident(name)),
                None => Ok(lit(ScalarValue::try_from(field.data_type())?).alias(name)),
            }
        })
        .collect::<Result<Vec<_>, DataFusionError>>()
        .map_err(failed)?;
    let failed = |error| AnalysisError::query(table.name)(error);
    context
        .read_table(stored)
        .and_then(|rows| rows.select(columns))
        .map(DataFrame::into_view)
        .map_err(failed)
}
