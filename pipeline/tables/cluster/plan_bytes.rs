//! A plan as bytes: DataFusion's own form of it, and ours of the kept tables that it reads.
//!
//! Of a table that lies by vehicle only its place among those is written. Where the rows of a bucket lie is told
//! with the bucket, so that nobody is told of all.

use std::sync::{Arc, Mutex, PoisonError};

use datafusion::common::internal_err;
use datafusion::common::tree_node::TreeNode;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::TaskContext;
use datafusion::logical_expr::expr::NullTreatment;
use datafusion::logical_expr::{Expr, LogicalPlan};
use datafusion::physical_plan::ExecutionPlan;
use datafusion_proto::bytes::{
    physical_plan_from_bytes_with_extension_codec, physical_plan_to_bytes_with_extension_codec,
};
use datafusion_proto::physical_plan::{PhysicalExtensionCodec, PhysicalProtoConverterExtension};
use prost::Message;

use super::places::{List, schema_bytes, schema_of};
use crate::kept::{Chunk, KeptScan, KeptTable};

/// Whether the bytes of a plan say all of it. DataFusion 55 leaves IGNORE NULLS of a window's function out of
/// its form, and what is read back does not ignore them.
pub fn says_all(plan: &LogicalPlan) -> bool {
    let ignores = plan.exists(|node| {
        let LogicalPlan::Window(window) = node else {
            return Ok(false);
        };
        let ignores = |part: &Expr| match part {
            Expr::WindowFunction(function) => {
                function.params.null_treatment == Some(NullTreatment::IgnoreNulls)
            }
            _ => false,
        };
        let mut expressions = window.window_expr.iter();
        Ok(expressions.any(|one| one.exists(|part| Ok(ignores(part))).unwrap_or(true)))
    });
    !ignores.unwrap_or(true)
}

/// The reading of a kept table.
#[derive(Clone, PartialEq, Eq, prost::Message)]
struct Scan {
    #[prost(bytes = "vec", tag = "1")]
    schema: Vec<u8>,
    #[prost(message, optional, tag = "2")]
    projection: Option<Columns>,
    /// Its place among the tables that lie by vehicle.
    #[prost(uint64, optional, tag = "3")]
    of_bucket: Option<u64>,
    /// The rows of one that does not.
    #[prost(message, optional, tag = "4")]
    rows: Option<List>,
}

#[derive(Clone, PartialEq, Eq, prost::Message)]
struct Columns {
    #[prost(uint64, repeated, tag = "1")]
    columns: Vec<u64>,
}

/// The plan as bytes, and the tables that lie by vehicle in the order of their places.
pub fn written(plan: &Arc<dyn ExecutionPlan>) -> Result<(Vec<u8>, Vec<KeptTable>)> {
    let writer = Writer::default();
    let bytes = physical_plan_to_bytes_with_extension_codec(Arc::clone(plan), &writer)?;
    let tables = writer.0.into_inner();
    Ok((
        bytes.to_vec(),
        tables.unwrap_or_else(PoisonError::into_inner),
    ))
}

/// The plan of the bucket in which those tables have these rows.
pub fn of_bucket(
    bytes: &[u8],
    tables: Vec<Vec<Chunk>>,
    context: &TaskContext,
) -> Result<Arc<dyn ExecutionPlan>> {
    physical_plan_from_bytes_with_extension_codec(bytes, context, &Reader(tables))
}

#[derive(Debug, Default)]
struct Writer(Mutex<Vec<KeptTable>>);

#[derive(Debug)]
struct Reader(Vec<Vec<Chunk>>);

impl PhysicalExtensionCodec for Writer {
    fn try_encode(
        &self,
        node: Arc<dyn ExecutionPlan>,
        bytes: &mut Vec<u8>,
        _form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<()> {
        let Some(scan) = node.downcast_ref::<KeptScan>() else {
            return internal_err!("{} is not known to the cluster", node.name());
        };
        let table = scan.table();
        let columns = |columns: &[usize]| Columns {
            columns: columns.iter().map(|column| *column as u64).collect(),
        };
        let mut written = Scan {
            schema: schema_bytes(&table.schema),
            projection: scan.projection().map(columns),
            of_bucket: None,
            rows: None,
        };
        if table.vins.is_some() {
            let mut tables = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            written.of_bucket = Some(tables.len() as u64);
            tables.push(table.clone());
        } else {
            written.rows = Some(List::of(&table.buckets().concat())?);
        }
        written.encode(bytes).map_err(outside)
    }

    fn try_decode(
        &self,
        _bytes: &[u8],
        _inputs: &[Arc<dyn ExecutionPlan>],
        _context: &TaskContext,
        _form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        internal_err!("a plan is only written by this")
    }
}

impl PhysicalExtensionCodec for Reader {
    fn try_decode(
        &self,
        bytes: &[u8],
        _inputs: &[Arc<dyn ExecutionPlan>],
        _context: &TaskContext,
        _form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let scan = Scan::decode(bytes).map_err(outside)?;
        let rows = match (scan.of_bucket, &scan.rows) {
            (Some(place), _) => usize::try_from(place)
                .ok()
                .and_then(|place| self.0.get(place).cloned()),
            (None, rows) => rows.as_ref().map(List::chunks),
        };
        let Some(rows) = rows else {
            return internal_err!("no rows are told of a table that is read");
        };
        let table = KeptTable::new(schema_of(&scan.schema)?, None, vec![rows]);
        let projection = scan.projection.map(|columns| {
            let columns = columns.columns.into_iter();
            columns
                .filter_map(|one| usize::try_from(one).ok())
                .collect()
        });
        let scan = KeptScan::of(table, projection, vec![vec![0]])?;
        Ok(Arc::new(scan))
    }

    fn try_encode(
        &self,
        _node: Arc<dyn ExecutionPlan>,
        _bytes: &mut Vec<u8>,
        _form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<()> {
        internal_err!("a plan is only read by this")
    }
}

fn outside(error: impl std::error::Error + Send + Sync + 'static) -> DataFusionError {
    DataFusionError::External(Box::new(error))
}
