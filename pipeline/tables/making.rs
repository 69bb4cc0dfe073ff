//! The rows of a plan, made to be kept: bucket by bucket of vehicles where it says something of each
//! vehicle by itself, so that no more than a few buckets are in memory, else of all at once.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use arrow::datatypes::{DataType, Schema, SchemaRef};
use datafusion::error::DataFusionError;
use datafusion::execution::SessionState;
use datafusion::logical_expr::LogicalPlan;
use datafusion::physical_plan::{ExecutionPlan, execute_stream_partitioned};
use futures::StreamExt;

use super::by_vehicle::{Reach, reach};
use super::kept::{GATHERED_ROWS, KeptTable, Shelf, Sorter, brought_to, of_bucket};

/// What tables are made with.
#[derive(Debug, Clone)]
pub struct Maker {
    pub shelf: Arc<Shelf>,
    /// How many buckets vehicles lie in.
    pub buckets: usize,
}

impl Maker {
    /// Sorts rows into a table with these columns, by vehicle where one of them is a VIN.
    pub fn sorter(&self, schema: &SchemaRef, vin: Option<usize>) -> Sorter {
        Sorter::new(
            Arc::clone(schema),
            vin.map(|vin| (vin, self.buckets)),
            Arc::clone(&self.shelf),
        )
    }

    /// Makes the rows of an optimised plan and keeps them under these names. `vin` is the column by
    /// which they are to lie, where there is one.
    pub async fn make(
        &self,
        plan: &LogicalPlan,
        state: &SessionState,
        schema: SchemaRef,
        vin: Option<usize>,
    ) -> Result<KeptTable, DataFusionError> {
        let state = one_partition(state);
        let physical = state.query_planner().create_physical_plan(plan, &state);
        let physical = physical.await?;
        let reach = reach(plan);
        tracing::debug!(?reach, plan = %plan.display_indent(), "making");
        match reach {
            Reach::Vehicle(vins) if vin.is_none_or(|vin| vins.contains(&vin)) => {
                self.by_vehicle(physical, &state, schema, vins).await
            }
            _ => self.at_once(physical, &state, schema, vin).await,
        }
    }

    async fn by_vehicle(
        &self,
        plan: Arc<dyn ExecutionPlan>,
        state: &SessionState,
        schema: SchemaRef,
        vins: BTreeSet<usize>,
    ) -> Result<KeptTable, DataFusionError> {
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        let next = Arc::new(AtomicUsize::new(0));
        let mut work = tokio::task::JoinSet::new();
        for _ in 0..threads.min(self.buckets) {
            let (maker, plan, schema) = (self.clone(), Arc::clone(&plan), Arc::clone(&schema));
            let (next, context) = (Arc::clone(&next), state.task_ctx());
            work.spawn(async move {
                let mut made = Vec::new();
                loop {
                    let bucket = next.fetch_add(1, Ordering::Relaxed);
                    if bucket >= maker.buckets {
                        return Ok::<_, DataFusionError>(made);
                    }
                    let plan = of_bucket(&plan, bucket)?;
                    let (mut chunks, mut gathered, mut rows) = (Vec::new(), Vec::new(), 0);
                    for mut stream in execute_stream_partitioned(plan, Arc::clone(&context))? {
                        while let Some(batch) = stream.next().await {
                            let batch = brought_to(&schema, &batch?)?;
                            rows += batch.num_rows();
                            gathered.push(batch);
                            if rows >= GATHERED_ROWS {
                                chunks.extend(maker.shelf.put_all(&schema, &gathered)?);
                                gathered.clear();
                                rows = 0;
                            }
                        }
                    }
                    chunks.extend(maker.shelf.put_all(&schema, &gathered)?);
                    made.push((bucket, chunks));
                }
            });
        }
        let mut made = BTreeMap::new();
        while let Some(done) = work.join_next().await {
            let done = done.map_err(|error| DataFusionError::External(error.into()))?;
            made.extend(done?);
        }
        let buckets = made.into_values().collect();
        Ok(KeptTable::new(schema, Some(vins), buckets))
    }

    async fn at_once(
        &self,
        plan: Arc<dyn ExecutionPlan>,
        state: &SessionState,
        schema: SchemaRef,
        vin: Option<usize>,
    ) -> Result<KeptTable, DataFusionError> {
        let mut sorter = self.sorter(&schema, vin);
        for mut stream in execute_stream_partitioned(plan, state.task_ctx())? {
            while let Some(batch) = stream.next().await {
                sorter.push(&batch?)?;
            }
        }
        Ok(sorter.finish()?)
    }
}

/// A plan may promise other than its rows keep, so a kept table promises nothing about nulls. Its texts are no
/// views: a view holds all texts of the rows it was once taken from, so the rows of a few vehicles would be
/// counted as those of the fleet.
pub fn promising_nothing(schema: &Schema) -> SchemaRef {
    let fields = schema.fields().iter();
    Arc::new(Schema::new(
        fields
            .map(|field| {
                let field = field.as_ref().clone().with_nullable(true);
                match field.data_type() {
                    DataType::Utf8View => field.with_data_type(DataType::Utf8),
                    _ => field,
                }
            })
            .collect::<Vec<_>>(),
    ))
}

/// Every plan is worked through by one thread, a bucket's too: nothing is exchanged between any, so rows
/// lie in the same order in every run and sums of them are the same in every bit.
fn one_partition(state: &SessionState) -> SessionState {
    let mut state = state.clone();
    // A filter that a plan finds while it runs would be found once for all buckets.
    let config = state.config().clone().with_target_partitions(1);
    *state.config_mut() =
        config.set_bool("datafusion.optimizer.enable_dynamic_filter_pushdown", false);
    state
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::datatypes::Field;

    #[test]
    fn kept_texts_are_no_views() {
        let view = Schema::new(vec![Field::new("vin", DataType::Utf8View, false)]);
        let kept = promising_nothing(&view);
        assert_eq!(kept.field(0), &Field::new("vin", DataType::Utf8, true));
    }
}
