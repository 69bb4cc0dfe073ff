//! The engine of one look at a lake: its memory and partitions, our functions, the raw tables' views.

use std::sync::Arc;

use arrow::array::{Array, AsArray};
use arrow::datatypes::Date32Type;
use chrono::NaiveDate;
#[cfg(feature = "cluster")]
use datafusion::execution::TaskContext;
use datafusion::execution::memory_pool::FairSpillPool;
use datafusion::execution::runtime_env::{RuntimeEnv, RuntimeEnvBuilder};
use datafusion::prelude::{SessionConfig, SessionContext};

use super::as_of::{self, KnownBy};
use super::{AnalysisError, functions};
use lake::Lake;
use lake::tables::TABLES;
use settings::Limits;
use trade::code_group::CodeGroups;

/// In which a question is answered. Fixed rather than the machine's cores, so that it is the same on any
/// machine; what is kept is made in one.
const PARTITIONS: usize = 4;

pub fn session(groups: Arc<CodeGroups>, limits: &Limits) -> Result<SessionContext, AnalysisError> {
    let memory = limits.query_memory();
    let runtime = RuntimeEnvBuilder::new()
        // Of what can go by the disk each has a fair share: a sort that took all would starve the next.
        .with_memory_pool(Arc::new(FairSpillPool::new(memory)))
        .build_arc()
        .map_err(AnalysisError::query("session"))?;
    Ok(session_in(groups, memory, runtime))
}

/// What a plan for one bucket is worked through in, on a machine with this memory and these disks.
#[cfg(feature = "cluster")]
pub fn context_in(groups: CodeGroups, runtime: Arc<RuntimeEnv>) -> Arc<TaskContext> {
    use datafusion::execution::memory_pool::MemoryLimit;
    let memory = match runtime.memory_pool.memory_limit() {
        MemoryLimit::Finite(bytes) => bytes,
        _ => usize::MAX,
    };
    let session = session_in(Arc::new(groups), memory, runtime);
    super::making::one_partition(&session.state()).task_ctx()
}

fn session_in(groups: Arc<CodeGroups>, memory: usize, runtime: Arc<RuntimeEnv>) -> SessionContext {
    let config = SessionConfig::new()
        .with_target_partitions(PARTITIONS)
        .with_sort_spill_reservation_bytes((memory / 64).min(10 << 20))
        // Rows that are kept midway promise less about nulls than the plan they come from.
        .set_bool(
            "datafusion.execution.skip_physical_aggregate_schema_check",
            true,
        )
        .set_bool("datafusion.sql_parser.map_string_types_to_utf8view", false)
        .set_bool(
            "datafusion.execution.parquet.schema_force_view_types",
            false,
        );
    let context = SessionContext::new_with_config_rt(config, runtime);
    functions::register_all(&context, groups);
    context
}

/// The tables in which a row is corrected by another.
pub async fn corrected_tables(
    context: &SessionContext,
) -> Result<Vec<&'static str>, AnalysisError> {
    let batches = context
        .sql(&as_of::corrected_tables_sql())
        .await
        .map_err(AnalysisError::query("corrections"))?
        .collect()
        .await
        .map_err(AnalysisError::query("corrections"))?;
    Ok(batches
        .iter()
        .flat_map(|batch| batch.column(0).as_string::<i32>().iter().flatten())
        .filter_map(|name| Some(lake::tables::table(name)?.name))
        .collect())
}

/// The day of the newest fact about a vehicle, none in an empty lake.
pub async fn newest_fact(
    context: &SessionContext,
    loaded_by: Option<NaiveDate>,
) -> Result<Option<NaiveDate>, AnalysisError> {
    let sql = as_of::newest_fact_sql(loaded_by);
    let batches = context
        .sql(&sql)
        .await
        .map_err(AnalysisError::query("newest fact"))?
        .collect()
        .await
        .map_err(AnalysisError::query("newest fact"))?;
    Ok(batches.first().and_then(|batch| {
        let days = batch.column(0).as_primitive::<Date32Type>();
        (!days.is_empty() && days.is_valid(0))
            .then(|| Date32Type::to_naive_date_opt(days.value(0)))?
    }))
}

/// The lake's own code groups, where its folder has a `code_groups.toml`.
pub fn code_groups(lake: &Lake) -> Result<CodeGroups, AnalysisError> {
    let Some(path) = lake.papers().map(|folder| folder.join("code_groups.toml")) else {
        return Ok(CodeGroups::builtin());
    };
    let failed = |source: Box<dyn std::error::Error + Send + Sync>| AnalysisError::CodeGroups {
        path: path.clone(),
        source,
    };
    if !path.exists() {
        return Ok(CodeGroups::builtin());
    }
    let text = settings::text_file::read(&path).map_err(|error| failed(error.into()))?;
    CodeGroups::with_table(&text).map_err(|error| failed(error.into()))
}

/// Registers each raw table under its own name, as it was known at the end of a day.
pub async fn register_views(
    context: &SessionContext,
    known_by: KnownBy<'_>,
) -> Result<(), AnalysisError> {
    for table in TABLES {
        let sql = as_of::view_sql(table, known_by);
        let view = context
            .sql(&sql)
            .await
            .map_err(AnalysisError::query(table.name))?
            .into_view();
        context
            .register_table(table.name, view)
            .map_err(AnalysisError::query(table.name))?;
    }
    Ok(())
}
