//! The work of an executor: for each bucket that it is told of, a plan worked through and its rows put into
//! the shared folder.

use std::fmt;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, BinaryArray, RecordBatch, UInt64Array};
use arrow::datatypes::{DataType, Field, Schema, SchemaRef, UInt64Type};
use ballista_core::serde::BallistaPhysicalExtensionCodec;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::common::{Result, internal_err};
use datafusion::error::DataFusionError;
use datafusion::execution::TaskContext;
use datafusion::physical_expr::{EquivalenceProperties, PhysicalExpr};
use datafusion::physical_plan::execution_plan::{
    Boundedness, ChildrenPropertiesMode, EmissionType,
};
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{
    DisplayAs, DisplayFormatType, ExecutionPlan, ExecutionPlanProperties, Partitioning,
    PlanProperties, ReplaceChildrenOptions, SendableRecordBatchStream,
};
use datafusion_proto::physical_plan::{PhysicalExtensionCodec, PhysicalProtoConverterExtension};
use futures::StreamExt;
use prost::Message;

use super::places::{Lists, Work, schema_of};
use super::plan_bytes;
use crate::kept::Shelf;
use crate::making::put_away;
use crate::session::context_in;
use trade::code_group::CodeGroups;

/// What goes in and what comes out: a bucket, and where rows of it lie, a list for each table.
pub fn buckets_schema() -> SchemaRef {
    Arc::new(Schema::new(vec![
        Field::new("bucket", DataType::UInt64, false),
        Field::new("rows", DataType::Binary, false),
    ]))
}

/// One bucket.
pub fn row(bucket: usize, lists: &Lists) -> Result<RecordBatch> {
    let buckets = UInt64Array::from(vec![bucket as u64]);
    let lists = BinaryArray::from_vec(vec![&lists.encode_to_vec()]);
    let columns: Vec<ArrayRef> = vec![Arc::new(buckets), Arc::new(lists)];
    Ok(RecordBatch::try_new(buckets_schema(), columns)?)
}

/// Works a plan through for each bucket that its input tells of.
#[derive(Debug)]
pub struct BucketWork {
    input: Arc<dyn ExecutionPlan>,
    work: Arc<Work>,
    properties: Arc<PlanProperties>,
}

impl BucketWork {
    pub fn new(input: Arc<dyn ExecutionPlan>, work: Work) -> Self {
        Self::of(input, Arc::new(work))
    }

    fn of(input: Arc<dyn ExecutionPlan>, work: Arc<Work>) -> Self {
        let partitions = input.output_partitioning().partition_count();
        let properties = PlanProperties::new(
            EquivalenceProperties::new(buckets_schema()),
            Partitioning::UnknownPartitioning(partitions),
            EmissionType::Incremental,
            Boundedness::Bounded,
        );
        Self {
            input,
            work,
            properties: Arc::new(properties),
        }
    }
}

/// The buckets of some rows worked through: the same buckets, with where their rows now lie.
async fn done(work: &Work, rows: &RecordBatch, context: &TaskContext) -> Result<RecordBatch> {
    let code_groups = match &work.code_groups {
        Some(table) => CodeGroups::with_table(table)
            .map_err(|error| DataFusionError::External(Box::new(error)))?,
        None => CodeGroups::builtin(),
    };
    let context = context_in(code_groups, context.runtime_env());
    let schema = schema_of(&work.schema)?;
    let buckets = rows.column(0).as_primitive::<UInt64Type>();
    let mut made = Vec::new();
    for lists in rows.column(1).as_binary::<i32>().iter() {
        let lists = Lists::decode(lists.unwrap_or_default())
            .map_err(|error| DataFusionError::External(Box::new(error)))?;
        let plan = plan_bytes::of_bucket(&work.plan, lists.chunks(), &context)?;
        let shelf = Shelf::shared(Path::new(&work.folder))?;
        let chunks = put_away(plan, Arc::clone(&context), &schema, &shelf).await?;
        made.push(Lists::of(std::iter::once(chunks.as_slice()))?.encode_to_vec());
    }
    let made = BinaryArray::from_iter_values(made);
    let columns: Vec<ArrayRef> = vec![Arc::new(buckets.clone()), Arc::new(made)];
    Ok(RecordBatch::try_new(buckets_schema(), columns)?)
}

impl DisplayAs for BucketWork {
    fn fmt_as(&self, _form: DisplayFormatType, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "BucketWork: {} bytes of plan", self.work.plan.len())
    }
}

impl ExecutionPlan for BucketWork {
    fn name(&self) -> &'static str {
        "BucketWork"
    }

    fn properties(&self) -> &Arc<PlanProperties> {
        &self.properties
    }

    fn children(&self) -> Vec<&Arc<dyn ExecutionPlan>> {
        vec![&self.input]
    }

    /// A bucket each is what its input has, and how the buckets are divided.
    fn benefits_from_input_partitioning(&self) -> Vec<bool> {
        vec![false]
    }

    fn apply_expressions(
        &self,
        _look: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }

    fn with_new_children(
        self: Arc<Self>,
        children: Vec<Arc<dyn ExecutionPlan>>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let anew = ReplaceChildrenOptions::new(ChildrenPropertiesMode::Recompute);
        self.replace_children(children, anew)
    }

    fn replace_children(
        self: Arc<Self>,
        children: Vec<Arc<dyn ExecutionPlan>>,
        _options: ReplaceChildrenOptions,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let [input] = &children[..] else {
            return internal_err!("the work of buckets has one input");
        };
        Ok(Arc::new(Self::of(
            Arc::clone(input),
            Arc::clone(&self.work),
        )))
    }

    fn execute(
        &self,
        partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let buckets = self.input.execute(partition, Arc::clone(&context))?;
        let work = Arc::clone(&self.work);
        let made = buckets.then(move |rows| {
            let (work, context) = (Arc::clone(&work), Arc::clone(&context));
            async move { done(&work, &rows?, &context).await }
        });
        let made = RecordBatchStreamAdapter::new(buckets_schema(), made);
        Ok(Box::pin(made))
    }
}

/// Writes and reads the work of buckets beside what the cluster itself adds to a plan.
#[derive(Debug, Default)]
pub struct WorkCodec(BallistaPhysicalExtensionCodec);

/// What the bytes of our own part of a plan begin with; a message of the cluster's own cannot.
const OURS: &[u8] = b"VOLTWANE";

impl PhysicalExtensionCodec for WorkCodec {
    fn try_decode(
        &self,
        bytes: &[u8],
        inputs: &[Arc<dyn ExecutionPlan>],
        context: &TaskContext,
        form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let (Some(bytes), [input]) = (bytes.strip_prefix(OURS), inputs) else {
            return self.0.try_decode(bytes, inputs, context, form);
        };
        let work =
            Work::decode(bytes).map_err(|error| DataFusionError::External(Box::new(error)))?;
        Ok(Arc::new(BucketWork::new(Arc::clone(input), work)))
    }

    fn try_encode(
        &self,
        node: Arc<dyn ExecutionPlan>,
        bytes: &mut Vec<u8>,
        form: &dyn PhysicalProtoConverterExtension,
    ) -> Result<()> {
        let Some(work) = node.downcast_ref::<BucketWork>() else {
            return self.0.try_encode(node, bytes, form);
        };
        bytes.extend(OURS);
        bytes.extend(work.work.encode_to_vec());
        Ok(())
    }
}
