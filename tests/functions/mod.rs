//! The SQL functions: listed and documented, the same however a group is split, right by
//! published values, and unmoved by odd input.

mod documented;
mod known_values;
mod odd_values;
mod split_groups;

use std::sync::Arc;

use datafusion::arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use datafusion::arrow::datatypes::{DataType, Float64Type};
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::prelude::{SessionConfig, SessionContext};
use voltwane::tables::functions::register_all;
use voltwane::trade::code_group::CodeGroups;

/// A session with every function, so many partitions, and so much memory before it spills.
fn session(partitions: usize, memory_bytes: Option<usize>) -> SessionContext {
    let mut config = SessionConfig::new().with_target_partitions(partitions);
    let mut runtime = RuntimeEnvBuilder::new();
    if let Some(bytes) = memory_bytes {
        config = config.with_batch_size(8);
        runtime = runtime.with_memory_limit(bytes, 1.0);
    }
    let runtime = runtime.build_arc().expect("a runtime");
    let context = SessionContext::new_with_config_rt(config, runtime);
    register_all(&context, Arc::new(CodeGroups::builtin()));
    context
}

/// The arguments each aggregate is tried with: columns of a table of lives, counts and points.
fn arguments(aggregate: &str) -> &'static str {
    match aggregate {
        "weibull_life" | "survival_steps" => "entry, exit, failed",
        "incidence_steps" => "entry, exit, cause",
        "mean_cumulative_steps" => "unit, entry, exit, failed",
        "interval_steps" => "entry, exit, exit + 7.0, failed",
        "log_rank_within" => "unit, cause, entry, exit, failed",
        "log_rank" => "cause, entry, exit, failed",
        "mean_life_until" => "entry, exit, failed, 40.0",
        "rate_law" => "cause, exit",
        "robust_slope" => "entry, exit",
        "count_law" => "cause",
        "usual_law" => "cause, 6.0, failed",
        "instrument_factors" => "unit, cause, exit, failed",
        other => panic!("say with which columns {other} is to be tried"),
    }
}

/// Runs one query.
async fn rows(context: &SessionContext, sql: &str) -> Vec<RecordBatch> {
    let frame = context.sql(sql).await;
    let frame = frame.unwrap_or_else(|error| panic!("{sql}\n{error}"));
    let answer = frame.collect().await;
    answer.unwrap_or_else(|error| panic!("{sql}\n{error}"))
}

/// Runs one query; its only row and column.
async fn answer(context: &SessionContext, sql: &str) -> ArrayRef {
    let batches = rows(context, sql).await;
    let found: usize = batches.iter().map(RecordBatch::num_rows).sum();
    assert_eq!(found, 1, "{sql}");
    let batch = batches.iter().find(|batch| batch.num_rows() == 1);
    batch.expect("a row").column(0).clone()
}

/// A number of an answer that is a struct.
#[track_caller]
fn field(answer: &ArrayRef, name: &str) -> Option<f64> {
    let column = answer.as_struct().column_by_name(name);
    let column = column.unwrap_or_else(|| panic!("the answer has no {name}"));
    let numbers = column.as_primitive::<Float64Type>();
    numbers.is_valid(0).then(|| numbers.value(0))
}

/// Fails where a number anywhere in the column is NaN or infinite.
fn all_finite(column: &ArrayRef, what: &str) {
    match column.data_type() {
        DataType::Float64 => {
            let numbers = column.as_primitive::<Float64Type>();
            for value in numbers.iter().flatten() {
                assert!(value.is_finite(), "{what} answers {value}");
            }
        }
        DataType::Struct(_) => {
            let fields = column.as_struct();
            for (name, column) in fields.column_names().iter().zip(fields.columns()) {
                all_finite(column, &format!("{what}: {name}"));
            }
        }
        DataType::List(_) => all_finite(column.as_list::<i32>().values(), what),
        DataType::Int64 => {}
        other => panic!("{what} answers {other}, which is not looked into"),
    }
}
