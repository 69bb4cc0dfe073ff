//! The reading of a kept table: all of it, or one bucket of vehicles.

use std::fmt;
use std::sync::Arc;

use arrow::array::{MutableArrayData, RecordBatch, RecordBatchOptions, make_array};
use arrow::datatypes::SchemaRef;
use arrow::error::ArrowError;
use datafusion::common::stats::Precision;
use datafusion::common::tree_node::{Transformed, TreeNode, TreeNodeRecursion};
use datafusion::common::{Result, Statistics, internal_err, project_schema};
use datafusion::execution::TaskContext;
use datafusion::physical_expr::{EquivalenceProperties, PhysicalExpr};
use datafusion::physical_plan::execution_plan::{Boundedness, EmissionType, reset_plan_states};
use datafusion::physical_plan::statistics::StatisticsArgs;
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{
    DisplayAs, DisplayFormatType, ExecutionPlan, Partitioning, PlanProperties,
    ReplaceChildrenOptions, SendableRecordBatchStream,
};
use futures::stream;

use super::KeptTable;

/// Reads a kept table.
#[derive(Debug, Clone)]
pub struct KeptScan {
    table: KeptTable,
    projection: Option<Vec<usize>>,
    /// The buckets that each partition reads.
    partitions: Vec<Vec<usize>>,
    schema: SchemaRef,
    properties: Arc<PlanProperties>,
}

impl KeptScan {
    /// All of the table, in at most so many partitions.
    pub fn new(
        table: KeptTable,
        projection: Option<Vec<usize>>,
        partitions: usize,
    ) -> Result<Self> {
        let buckets = table.buckets.len();
        let count = partitions.clamp(1, buckets.max(1));
        // Neighbours together, so that the rows keep their order.
        let partitions = (0..count)
            .map(|part| (part * buckets / count..(part + 1) * buckets / count).collect())
            .collect();
        Self::of(table, projection, partitions)
    }

    /// These buckets of a table, a partition each list.
    pub fn of(
        table: KeptTable,
        projection: Option<Vec<usize>>,
        partitions: Vec<Vec<usize>>,
    ) -> Result<Self> {
        let schema = project_schema(&table.schema, projection.as_ref())?;
        let properties = PlanProperties::new(
            EquivalenceProperties::new(Arc::clone(&schema)),
            Partitioning::UnknownPartitioning(partitions.len()),
            EmissionType::Incremental,
            Boundedness::Bounded,
        );
        Ok(Self {
            table,
            projection,
            partitions,
            schema,
            properties: Arc::new(properties),
        })
    }
}

#[cfg(feature = "cluster")]
impl KeptScan {
    pub fn table(&self) -> &KeptTable {
        &self.table
    }

    /// The columns that are read; all where none are named.
    pub fn projection(&self) -> Option<&[usize]> {
        self.projection.as_deref()
    }
}

/// The plan of one bucket of vehicles: a copy that shares nothing with others, in which every table that
/// lies by vehicle is read in that bucket alone.
pub fn of_bucket(plan: &Arc<dyn ExecutionPlan>, bucket: usize) -> Result<Arc<dyn ExecutionPlan>> {
    let plan = Arc::clone(plan).transform_up(|node| match node.downcast_ref::<KeptScan>() {
        Some(scan) if scan.table.vins.is_some() => {
            let (table, projection) = (scan.table.clone(), scan.projection.clone());
            let one = KeptScan::of(table, projection, vec![vec![bucket]])?;
            Ok(Transformed::yes(Arc::new(one) as Arc<dyn ExecutionPlan>))
        }
        _ => Ok(Transformed::no(node)),
    })?;
    reset_plan_states(plan.data)
}

/// The rows in memory of their own. A sort counts a batch at all that its buffers hold: one that is cut from a
/// chunk holds the rest of it.
fn copied(batch: &RecordBatch) -> Result<RecordBatch> {
    let columns = batch.columns().iter().map(|column| {
        let data = column.to_data();
        let mut copy = MutableArrayData::new(vec![&data], false, data.len());
        copy.try_extend(0, 0, data.len())?;
        Ok(make_array(copy.freeze()))
    });
    let columns = columns.collect::<Result<_, ArrowError>>()?;
    // A plan that only counts rows has no columns.
    let rows = RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    let copied = RecordBatch::try_new_with_options(batch.schema(), columns, &rows);
    Ok(copied?)
}

impl DisplayAs for KeptScan {
    fn fmt_as(&self, _form: DisplayFormatType, f: &mut fmt::Formatter) -> fmt::Result {
        let names: Vec<&str> = self
            .schema
            .fields()
            .iter()
            .map(|field| field.name().as_str())
            .collect();
        write!(f, "KeptScan: columns=[{}]", names.join(", "))
    }
}

impl ExecutionPlan for KeptScan {
    fn name(&self) -> &'static str {
        "KeptScan"
    }

    fn properties(&self) -> &Arc<PlanProperties> {
        &self.properties
    }

    fn children(&self) -> Vec<&Arc<dyn ExecutionPlan>> {
        Vec::new()
    }

    fn apply_expressions(
        &self,
        _look: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }

    fn replace_children(
        self: Arc<Self>,
        _children: Vec<Arc<dyn ExecutionPlan>>,
        _options: ReplaceChildrenOptions,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        Ok(self)
    }

    fn with_new_children(
        self: Arc<Self>,
        _children: Vec<Arc<dyn ExecutionPlan>>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        Ok(self)
    }

    fn execute(
        &self,
        partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let Some(buckets) = self.partitions.get(partition) else {
            return internal_err!("a kept table has no partition {partition}");
        };
        let most = context.session_config().batch_size();
        let mut chunks = Vec::new();
        for bucket in buckets {
            chunks.extend(
                self.table
                    .buckets
                    .get(*bucket)
                    .into_iter()
                    .flatten()
                    .cloned(),
            );
        }
        let (projection, schema) = (self.projection.clone(), Arc::clone(&self.table.schema));
        let batches = chunks.into_iter().flat_map(move |chunk| {
            // A chunk is read when its turn comes, so one at a time is in memory.
            let read = chunk.read(&schema, projection.as_deref());
            let rows = read.as_ref().map_or(1, |batch| batch.num_rows());
            (0..rows).step_by(most).map(move |from| match &read {
                Ok(batch) if from == 0 && rows <= most => Ok(batch.clone()),
                Ok(batch) => copied(&batch.slice(from, most.min(rows - from))),
                Err(error) => Err(datafusion::error::DataFusionError::Execution(
                    error.to_string(),
                )),
            })
        });
        Ok(Box::pin(RecordBatchStreamAdapter::new(
            Arc::clone(&self.schema),
            stream::iter(batches),
        )))
    }

    fn statistics_from_inputs(
        &self,
        _inputs: &[Arc<Statistics>],
        args: &StatisticsArgs,
    ) -> Result<Arc<Statistics>> {
        let parts = args.partition().map_or(1, |_| self.partitions.len());
        let (rows, bytes) = (self.table.rows, self.table.held);
        let width = self.table.schema.fields().len().max(1);
        let share = self.schema.fields().len();
        let mut statistics = Statistics::new_unknown(&self.schema);
        // Not exact, so that nothing is answered from them: the plan may be run on a bucket.
        statistics.num_rows = Precision::Inexact(rows / parts);
        statistics.total_byte_size = Precision::Inexact(bytes / parts * share / width);
        Ok(Arc::new(statistics))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Shelf, Sorter};
    use super::*;
    use arrow::array::{ArrayRef, Int64Array, StringArray};
    use datafusion::prelude::{SessionConfig, SessionContext};

    /// The rows of a table of so wide a text, read in small batches without it.
    async fn held(room: usize) -> (usize, usize) {
        let wide: StringArray = (0..1_000).map(|n| Some(format!("{n:0>500}"))).collect();
        let numbers = Int64Array::from_iter_values(0..1_000);
        let columns: [(&str, ArrayRef); 2] = [("wide", Arc::new(wide)), ("n", Arc::new(numbers))];
        let batch = RecordBatch::try_from_iter(columns).expect("rows");
        let mut sorter = Sorter::new(batch.schema(), None, Arc::new(Shelf::new(room)));
        sorter.push(&batch).expect("rows");
        let table = sorter.finish().expect("a table");
        let config = SessionConfig::new().with_batch_size(100);
        let context = SessionContext::new_with_config(config);
        context
            .register_table("kept", Arc::new(table))
            .expect("new");
        let read = context.sql("SELECT n FROM kept").await.expect("a plan");
        let read = read.collect().await.expect("rows");
        let held = |batch: &RecordBatch| batch.get_array_memory_size();
        let rows = read.iter().map(RecordBatch::num_rows).sum();
        (rows, read.iter().map(held).sum())
    }

    #[tokio::test]
    async fn a_batch_holds_no_more_than_its_own_rows() {
        for room in [usize::MAX, 0] {
            let (rows, held) = held(room).await;
            assert_eq!(rows, 1_000);
            // A thousand numbers of eight bytes, and something for each of the batches.
            assert!(held < 3 * 8_000, "{held} bytes with room for {room}");
        }
    }
}
