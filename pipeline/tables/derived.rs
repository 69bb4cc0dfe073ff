//! Derived tables made when they are asked for, those below them first.

use std::sync::{Arc, PoisonError};

use arrow::datatypes::Schema;
use datafusion::error::DataFusionError;
use datafusion::prelude::DataFrame;

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
        let mut wanted: Vec<Derived<'_>> = self.derived(name).into_iter().collect();
        // The graph has no circles, so this ends: a table is finished once those below it are.
        while let Some(next) = wanted.last().copied() {
            let below: Vec<Derived<'_>> = match self.is_made(next.name()) {
                true => Vec::new(),
                false => next
                    .reads()
                    .filter(|table| !self.is_made(table))
                    .filter_map(|table| self.derived(table).or_else(|| raw(table)))
                    .collect(),
            };
            if below.is_empty() {
                if !self.is_made(next.name()) {
                    self.make_one(next).await?;
                }
                wanted.pop();
            } else {
                wanted.extend(below);
            }
        }
        Ok(())
    }

    pub(super) fn derived(&self, name: &str) -> Option<Derived<'_>> {
        match self.graph.get(name) {
            Some(query) => Some(Derived::Query(query)),
            None => rust_tables::computed(name).map(Derived::Computed),
        }
    }

    pub(super) fn is_made(&self, name: &str) -> bool {
        self.made
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .contains(name)
    }

    pub(super) fn is_now_made(&self, name: &str) {
        self.made
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(name.to_owned());
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
        self.is_now_made(name);
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
            let plan = state.optimize(&plan)?;
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
