//! Derived tables that Rust makes, because SQL cannot: a model fitted, a plan optimised.
//!
//! Each names the tables it reads, so it stands in the query graph like any other; queries read it by
//! its name. The list is the one place where they are found.

mod advice_worth;
mod battery_plan;
mod depot_plan;
mod fits;
mod life_law;
mod plan;
mod reasons_column;
mod season;
mod separate_week;
mod sure_chance;
mod test_value;
pub mod week_frame;

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use arrow::datatypes::SchemaRef;
use futures::future::BoxFuture;

use super::{Analysis, AnalysisError};

/// The rows of a computed table.
pub type Rows = (SchemaRef, Vec<RecordBatch>);

/// One table made in Rust.
pub struct Computed {
    pub name: &'static str,
    /// What one row is, as the opening comment of a query says it.
    pub about: &'static str,
    /// Tables that are made before it.
    pub reads: &'static [&'static str],
    pub make: for<'a> fn(&'a Analysis) -> BoxFuture<'a, Result<Rows, AnalysisError>>,
}

/// Every computed table.
pub const COMPUTED: &[Computed] = &[
    fits::HEALTH_FIT,
    fits::MODEL_FIT,
    fits::MODEL_WAY,
    fits::BATTERY_CHANCE,
    life_law::LIFE_LAW,
    plan::REPLACEMENT_POLICY,
    battery_plan::BATTERY_PLAN,
    test_value::TEST_VALUE,
    separate_week::SEPARATE_WEEK,
    sure_chance::SURE_CHANCE,
    advice_worth::ADVICE_WORTH,
];

/// Does long work on a thread of its own, so that other tables are made meanwhile.
async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, AnalysisError> + Send + 'static,
) -> Result<T, AnalysisError> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(broken) => std::panic::resume_unwind(broken.into_panic()),
    }
}

/// The computed table of that name.
pub fn computed(name: &str) -> Option<&'static Computed> {
    COMPUTED.iter().find(|table| table.name == name)
}

/// The tables that are there without a query, with what each is made from: the raw ones, made from
/// nothing, and the computed ones.
pub fn given(raw: impl Iterator<Item = String>) -> BTreeMap<String, BTreeSet<String>> {
    let computed = COMPUTED.iter().map(|table| {
        let reads = table.reads.iter().map(|name| (*name).to_owned()).collect();
        (table.name.to_owned(), reads)
    });
    raw.map(|name| (name, BTreeSet::new()))
        .chain(computed)
        .collect()
}
