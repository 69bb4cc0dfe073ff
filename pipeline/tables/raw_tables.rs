//! The raw tables as queries read them, `lake.TABLE`: of one lake, or of a lake and others beside it
//! whose facts are read as if they stood in it. Nothing is written to any of them.

use std::sync::Arc;

use datafusion::catalog::MemorySchemaProvider;
use datafusion::prelude::SessionContext;

use super::AnalysisError;
use lake::Lake;
use lake::tables::{ROW_HASH, TABLES, Table};

/// Registers every raw table under `lake.TABLE`: the lake's rows, then those of each lake beside it
/// that are not there yet.
pub async fn register(
    context: &SessionContext,
    lake: &Lake,
    beside: &[&Lake],
) -> Result<(), AnalysisError> {
    register_lake(context, lake, "lake").await?;
    for (at, other) in beside.iter().enumerate() {
        let schema = format!("beside_{at}");
        register_lake(context, other, &schema).await?;
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
    Ok(())
}

/// The SQL of the rows of both schemas' tables, without those of `other` whose content `own` has.
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
    format!(
        "SELECT {} FROM {own}.{name} a UNION ALL \
         SELECT {} FROM {other}.{name} b LEFT ANTI JOIN {own}.{name} known ON known.{ROW_HASH} = b.{ROW_HASH}",
        columns("a"),
        columns("b"),
        name = table.name
    )
}

async fn register_lake(
    context: &SessionContext,
    lake: &Lake,
    schema: &str,
) -> Result<(), AnalysisError> {
    let catalog = context
        .catalog("datafusion")
        .ok_or_else(|| AnalysisError::NoSuchTable("datafusion".to_owned()))?;
    catalog
        .register_schema(schema, Arc::new(MemorySchemaProvider::new()))
        .map_err(AnalysisError::query(schema))?;
    for table in TABLES {
        let provider = lake.provider(table).await?;
        context
            .register_table(format!("{schema}.{}", table.name), provider)
            .map_err(AnalysisError::query(table.name))?;
    }
    Ok(())
}
