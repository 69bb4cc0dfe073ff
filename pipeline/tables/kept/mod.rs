//! Tables that are kept for the queries that read them.
//!
//! A table of vehicles lies in buckets of vehicles: all rows of a vehicle are in the bucket that its
//! VIN gives, the same in every table, so what is of each vehicle by itself can be made bucket by bucket,
//! however many vehicles there are. Of any other table all rows are in one.

mod columns;
mod scan;
mod shelf;
mod sorting;

use std::collections::BTreeSet;
use std::sync::Arc;

use arrow::datatypes::SchemaRef;
use async_trait::async_trait;
use datafusion::catalog::{Session, TableProvider};
use datafusion::common::Result;
use datafusion::logical_expr::{Expr, TableType};
use datafusion::physical_plan::ExecutionPlan;

pub use scan::{KeptScan, of_bucket};
#[cfg(feature = "cluster")]
pub use shelf::Lies;
pub use shelf::{Chunk, Shelf};
pub use sorting::{GATHERED_ROWS, Sorter, brought_to};

/// The column whose tables lie in buckets.
pub const VEHICLE: &str = "vin";

/// A kept table.
#[derive(Debug, Clone)]
pub struct KeptTable {
    pub schema: SchemaRef,
    /// The columns that are the VIN by which a row lies in its bucket; none where rows do not lie by
    /// vehicle. They may all be left out of a table that does.
    pub vins: Option<BTreeSet<usize>>,
    buckets: Arc<Vec<Vec<Chunk>>>,
    rows: usize,
    /// What they hold while all are in memory, in bytes.
    held: usize,
}

impl KeptTable {
    /// A table of what lies in each bucket, or in the one there is.
    pub fn new(schema: SchemaRef, vins: Option<BTreeSet<usize>>, buckets: Vec<Vec<Chunk>>) -> Self {
        let chunks = || buckets.iter().flatten();
        Self {
            rows: chunks().map(|chunk| chunk.rows).sum(),
            held: chunks().map(|chunk| chunk.held).sum(),
            schema,
            vins,
            buckets: Arc::new(buckets),
        }
    }

    /// What lies in each bucket.
    #[cfg(feature = "cluster")]
    pub fn buckets(&self) -> &[Vec<Chunk>] {
        &self.buckets
    }
}

#[async_trait]
impl TableProvider for KeptTable {
    fn schema(&self) -> SchemaRef {
        Arc::clone(&self.schema)
    }

    fn table_type(&self) -> TableType {
        TableType::Base
    }

    async fn scan(
        &self,
        state: &dyn Session,
        projection: Option<&Vec<usize>>,
        _filters: &[Expr],
        _limit: Option<usize>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let partitions = state.config().target_partitions();
        let scan = KeptScan::new(self.clone(), projection.cloned(), partitions)?;
        Ok(Arc::new(scan))
    }
}
