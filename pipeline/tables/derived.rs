//! Derived tables made when they are asked for, those below them first. What does not rest on each other is
//! made side by side.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use arrow::datatypes::Schema;
use datafusion::error::DataFusionError;
use datafusion::prelude::DataFrame;
use futures::FutureExt;
use futures::future::{BoxFuture, try_join_all};
use tokio::sync::OnceCell;

use super::beside::beside;
use super::kept::{KeptTable, VEHICLE};
use super::making::promising_nothing;
use super::query_graph::Query;
use super::rust_tables::{self, Computed};
use super::stages::Stages;
use super::{Analysis, AnalysisError};
use lake::tables::Table;

/// A derived table: a query, or one that Rust makes. A query of the same name comes first, so that
/// a user can put SQL in the place of either.
#[derive(Clone, Copy)]
pub enum Derived<'a> {
    Query(&'a Query),
    Computed(&'static Computed),
    /// A raw table as known on the day, kept for the queries that read it.
    Raw(&'static Table),
}

/// Which tables were made; one that several ask for at a time is made once.
#[derive(Default)]
pub struct Made(Mutex<BTreeMap<String, Arc<OnceCell<()>>>>);

impl Made {
    pub fn once(&self, name: &str) -> Arc<OnceCell<()>> {
        let mut made = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(made.entry(name.to_owned()).or_default())
    }

    pub fn holds(&self, name: &str) -> bool {
        self.once(name).initialized()
    }
}

/// A raw table as what is made before those that read it.
fn raw(name: &str) -> Option<Derived<'static>> {
    lake::tables::table(name).map(Derived::Raw)
}

impl<'a> Derived<'a> {
    pub fn name(self) -> &'a str {
        match self {
            Derived::Query(query) => &query.name,
            Derived::Computed(table) => table.name,
            Derived::Raw(table) => table.name,
        }
    }

    pub fn reads(self) -> Box<dyn Iterator<Item = &'a str> + 'a> {
        match self {
            Derived::Query(query) => Box::new(query.reads.iter().map(String::as_str)),
            Derived::Computed(table) => Box::new(table.reads.iter().copied()),
            Derived::Raw(_) => Box::new(std::iter::empty()),
        }
    }
}

impl Analysis {
    /// Makes a derived table and those below it, where they are not there yet.
    pub(super) async fn make(&self, name: &str) -> Result<(), AnalysisError> {
        match self.derived(name) {
            Some(derived) => self.make_with_those_below(derived).await,
            None => Ok(()),
        }
    }

    /// Makes what a derived table reads, and not the table.
    pub async fn make_below(&self, name: &str) -> Result<(), AnalysisError> {
        match self.derived(name) {
            Some(derived) => self.make_those_below(derived).await,
            None => Ok(()),
        }
    }

    async fn make_those_below(&self, derived: Derived<'_>) -> Result<(), AnalysisError> {
        let below = derived
            .reads()
            .filter_map(|table| self.derived(table).or_else(|| raw(table)))
            .map(|table| self.make_with_those_below(table));
        try_join_all(below).await?;
        Ok(())
    }

    /// The graph has no circles, so this ends.
    fn make_with_those_below<'a>(
        &'a self,
        derived: Derived<'a>,
    ) -> BoxFuture<'a, Result<(), AnalysisError>> {
        let made = self.made.once(derived.name());
        async move {
            let making = async || {
                self.make_those_below(derived).await?;
                self.make_one(derived).await
            };
            made.get_or_try_init(making).await.copied()
        }
        .boxed()
    }

    pub(super) fn derived(&self, name: &str) -> Option<Derived<'_>> {
        match self.graph.get(name) {
            Some(query) => Some(Derived::Query(query)),
            None => rust_tables::computed(name).map(Derived::Computed),
        }
    }

    async fn make_one(&self, derived: Derived<'_>) -> Result<(), AnalysisError> {
        let started = std::time::Instant::now();
        let name = derived.name();
        match derived {
            Derived::Computed(table) => {
                let (schema, batches) = (table.make)(self).await?;
                let schema = promising_nothing(&schema);
                let mut sorter = self.maker.sorter(&schema, vin_of(&schema));
                batches
                    .iter()
                    .try_for_each(|batch| sorter.push(batch))
                    .and_then(|()| sorter.finish())
                    .map_err(DataFusionError::from)
                    .and_then(|table| self.keep(name, table))
                    .map_err(AnalysisError::query(name))?;
            }
            Derived::Query(query) => {
                let frame = self.plan(&query.file, &query.sql, &[]).await?;
                if query.kept {
                    self.make_kept(name, &query.file, frame).await?;
                } else {
                    self.context
                        .register_table(name, frame.into_view())
                        .map_err(AnalysisError::query(&query.file))?;
                }
            }
            Derived::Raw(table) => {
                let frame = self.context.table(table.name).await;
                let frame = frame.map_err(AnalysisError::query(name))?;
                self.make_kept(name, name, frame).await?;
            }
        }
        tracing::debug!(
            table = name,
            seconds = started.elapsed().as_secs_f64(),
            "made"
        );
        Ok(())
    }

    async fn make_kept(
        &self,
        name: &str,
        file: &str,
        frame: DataFrame,
    ) -> Result<(), AnalysisError> {
        let made = async {
            let schema = promising_nothing(frame.schema().as_arrow());
            let (state, plan) = frame.into_parts();
            let optimising = state.clone();
            let plan = beside(async move { optimising.optimize(&plan) }).await?;
            let plan = Stages::new(&self.maker, &state).taken_apart(&plan).await?;
            let vin = vin_of(&schema);
            let table = self.maker.make(&plan, &state, schema, vin).await?;
            self.keep(name, table)
        };
        made.await.map_err(AnalysisError::query(file))
    }

    /// Puts a kept table under its name, in the place of a raw one's view.
    pub(super) fn keep(&self, name: &str, table: KeptTable) -> Result<(), DataFusionError> {
        self.context.deregister_table(name)?;
        self.context.register_table(name, Arc::new(table))?;
        Ok(())
    }
}

/// The column by which the rows of a table lie by vehicle.
fn vin_of(schema: &Schema) -> Option<usize> {
    schema.column_with_name(VEHICLE).map(|(at, _)| at)
}
