//! The rows of a plan, made to be kept: bucket by bucket of vehicles where it says something of each
//! vehicle by itself, so that no more than a few buckets are in memory, else of all at once.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use arrow::array::RecordBatch;
use arrow::datatypes::{DataType, Schema, SchemaRef};
use async_trait::async_trait;
use datafusion::error::DataFusionError;
use datafusion::execution::{SessionState, TaskContext};
use datafusion::logical_expr::LogicalPlan;
use datafusion::physical_plan::execution_plan::reset_plan_states;
use datafusion::physical_plan::{ExecutionPlan, execute_stream_partitioned};
use datafusion::prelude::DataFrame;
use futures::StreamExt;
use tempfile::TempDir;
use tokio::sync::{Semaphore, SemaphorePermit};
use tokio::task::JoinSet;

use super::beside::beside;
use super::by_vehicle::{Reach, reach};
use super::kept::{Chunk, GATHERED_ROWS, KeptTable, Shelf, Sorter, brought_to, of_bucket};
use super::whole_windows::worked_at_once;

/// Other machines, which work through a plan bucket by bucket of vehicles.
#[async_trait]
pub trait Elsewhere: std::fmt::Debug + Send + Sync {
    /// Whether they make of a plan what is made of it here.
    fn takes(&self, plan: &LogicalPlan) -> bool;

    /// The rows of each bucket, put into a folder that all machines see; what the plan reads lies there too.
    async fn by_vehicle(
        &self,
        plan: &Arc<dyn ExecutionPlan>,
        schema: &SchemaRef,
        buckets: usize,
        folder: &Path,
    ) -> Result<Vec<Vec<Chunk>>, DataFusionError>;
}

/// Other machines, with a folder of one run that they see too.
#[derive(Debug)]
struct Away {
    machines: Arc<dyn Elsewhere>,
    folder: TempDir,
    /// Where such folders are.
    parent: PathBuf,
}

/// What tables are made with.
#[derive(Debug, Clone)]
pub struct Maker {
    shelf: Arc<Shelf>,
    away: Option<Arc<Away>>,
    /// How many buckets vehicles lie in.
    buckets: usize,
    /// As many plans, or buckets of one, are worked through at a time as there are threads, whatever
    /// tables they are of.
    threads: Arc<Semaphore>,
}

/// How many threads there are.
fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

impl Maker {
    pub fn new(shelf: Shelf, buckets: usize) -> Self {
        Self {
            shelf: Arc::new(shelf),
            away: None,
            buckets,
            threads: Arc::new(Semaphore::new(threads())),
        }
    }

    pub fn in_buckets(self, buckets: usize) -> Self {
        Self { buckets, ..self }
    }

    /// With what is of each vehicle by itself made by those machines, in a new folder of one that they see.
    pub fn elsewhere(
        self,
        machines: Arc<dyn Elsewhere>,
        parent: &Path,
    ) -> Result<Self, std::io::Error> {
        let folder = tempfile::Builder::new().prefix("run-").tempdir_in(parent)?;
        let shelf = Shelf::shared(folder.path())?;
        let away = Away {
            machines,
            folder,
            parent: parent.to_owned(),
        };
        Ok(Self {
            shelf: Arc::new(shelf),
            away: Some(Arc::new(away)),
            ..self
        })
    }

    /// With what is of each vehicle made where another makes it.
    pub fn where_makes(self, other: &Self) -> Result<Self, std::io::Error> {
        match &other.away {
            Some(away) => self.elsewhere(Arc::clone(&away.machines), &away.parent),
            None => Ok(self),
        }
    }

    /// Sorts rows into a table with these columns, by vehicle where one of them is a VIN.
    pub fn sorter(&self, schema: &SchemaRef, vin: Option<usize>) -> Sorter {
        Sorter::new(
            Arc::clone(schema),
            vin.map(|vin| (vin, self.buckets)),
            Arc::clone(&self.shelf),
        )
    }

    /// Makes the rows of an optimised plan and keeps them under these names. `vin` is the column by
    /// which they are to lie, where there is one. What finds too little memory beside others is made again
    /// by itself.
    pub async fn make(
        &self,
        plan: &LogicalPlan,
        state: &SessionState,
        schema: SchemaRef,
        vin: Option<usize>,
    ) -> Result<KeptTable, DataFusionError> {
        let work = self.work(plan, reach(plan), state, schema, vin).await?;
        self.worked_through(work).await
    }

    /// Makes the rows that a plan has of each bucket by itself, though they are no vehicle's.
    pub async fn make_of_each_bucket(
        &self,
        plan: &LogicalPlan,
        state: &SessionState,
        schema: SchemaRef,
    ) -> Result<KeptTable, DataFusionError> {
        let of_none = Reach::Vehicle(BTreeSet::new());
        let work = self.work(plan, of_none, state, schema, None).await?;
        self.worked_through(work).await
    }

    async fn work(
        &self,
        plan: &LogicalPlan,
        reach: Reach,
        state: &SessionState,
        schema: SchemaRef,
        vin: Option<usize>,
    ) -> Result<Work, DataFusionError> {
        let state = one_partition(state);
        let (planning, planned) = (state.clone(), plan.clone());
        let physical = beside(async move {
            let planner = planning.query_planner();
            planner.create_physical_plan(&planned, &planning).await
        });
        let physical = match reach {
            Reach::Vehicle(_) => worked_at_once(physical.await?)?,
            _ => physical.await?,
        };
        tracing::debug!(?reach, plan = %plan.display_indent(), "making");
        let away = self.away.as_ref();
        Ok(Work {
            plan: physical,
            reach,
            away: away.filter(|away| away.machines.takes(plan)).cloned(),
            state,
            schema,
            vin,
        })
    }

    /// The rows of a query, which takes its turn with tables that are made; what finds too little memory beside
    /// others is asked again by itself.
    pub async fn answer(&self, frame: DataFrame) -> Result<Vec<RecordBatch>, DataFusionError> {
        let rows = {
            let _turn = self.threads.acquire().await.map_err(outside)?;
            beside(frame.clone().collect()).await
        };
        match rows {
            Err(error) if is_out_of_memory(&error) => {
                let _alone = self.alone().await?;
                frame.collect().await
            }
            rows => rows,
        }
    }

    /// Waits until nothing else is worked through, and keeps it so.
    async fn alone(&self) -> Result<SemaphorePermit<'_>, DataFusionError> {
        let all = u32::try_from(threads()).unwrap_or(u32::MAX);
        let alone = self.threads.acquire_many(all).await.map_err(outside)?;
        tracing::debug!("once more, by itself");
        Ok(alone)
    }

    /// What finds too little memory beside others is made again by itself.
    async fn worked_through(&self, work: Work) -> Result<KeptTable, DataFusionError> {
        let beside = work.done(self, threads(), &self.threads).await;
        match beside {
            Err(error) if is_out_of_memory(&error) => {
                let _alone = self.alone().await?;
                work.done(self, 1, &Arc::new(Semaphore::new(1))).await
            }
            made => made,
        }
    }
}

/// A plan to be worked through.
struct Work {
    plan: Arc<dyn ExecutionPlan>,
    reach: Reach,
    /// Who works its buckets through, where that is not done here.
    away: Option<Arc<Away>>,
    state: SessionState,
    schema: SchemaRef,
    vin: Option<usize>,
}

impl Work {
    /// Its rows, kept, by so many at a time of those that find a thread.
    async fn done(
        &self,
        maker: &Maker,
        at_a_time: usize,
        threads: &Arc<Semaphore>,
    ) -> Result<KeptTable, DataFusionError> {
        match &self.reach {
            Reach::Vehicle(vins) if self.vin.is_none_or(|vin| vins.contains(&vin)) => {
                self.by_vehicle(maker, at_a_time, threads, vins).await
            }
            _ => self.at_once(maker, threads).await,
        }
    }

    async fn by_vehicle(
        &self,
        maker: &Maker,
        at_a_time: usize,
        threads: &Arc<Semaphore>,
        vins: &BTreeSet<usize>,
    ) -> Result<KeptTable, DataFusionError> {
        if let Some(Away {
            machines, folder, ..
        }) = self.away.as_deref()
        {
            let schema = Arc::clone(&self.schema);
            let made = machines.by_vehicle(&self.plan, &schema, maker.buckets, folder.path());
            let made = made.await?;
            return Ok(KeptTable::new(schema, Some(vins.clone()), made));
        }
        let next = Arc::new(AtomicUsize::new(0));
        let mut work = JoinSet::new();
        for _ in 0..at_a_time.min(maker.buckets) {
            let (maker, plan, schema) = (
                maker.clone(),
                Arc::clone(&self.plan),
                Arc::clone(&self.schema),
            );
            let (next, context) = (Arc::clone(&next), self.state.task_ctx());
            let threads = Arc::clone(threads);
            work.spawn(async move {
                let mut made = Vec::new();
                loop {
                    let bucket = next.fetch_add(1, Ordering::Relaxed);
                    if bucket >= maker.buckets {
                        return Ok::<_, DataFusionError>(made);
                    }
                    let _thread = threads.acquire().await.map_err(outside)?;
                    let plan = of_bucket(&plan, bucket)?;
                    let chunks =
                        put_away(plan, Arc::clone(&context), &schema, &maker.shelf).await?;
                    made.push((bucket, chunks));
                }
            });
        }
        let mut made = BTreeMap::new();
        while let Some(done) = work.join_next().await {
            made.extend(done.map_err(outside)??);
        }
        let buckets = made.into_values().collect();
        let schema = Arc::clone(&self.schema);
        Ok(KeptTable::new(schema, Some(vins.clone()), buckets))
    }

    async fn at_once(
        &self,
        maker: &Maker,
        threads: &Arc<Semaphore>,
    ) -> Result<KeptTable, DataFusionError> {
        let plan = reset_plan_states(Arc::clone(&self.plan))?;
        let mut sorter = maker.sorter(&self.schema, self.vin);
        let (context, threads) = (self.state.task_ctx(), Arc::clone(threads));
        let work = beside(async move {
            let _thread = threads.acquire().await.map_err(outside)?;
            for mut stream in execute_stream_partitioned(plan, context)? {
                while let Some(batch) = stream.next().await {
                    sorter.push(&batch?)?;
                }
            }
            Ok(sorter.finish()?)
        });
        work.await
    }
}

/// The rows of a plan, on a shelf.
pub async fn put_away(
    plan: Arc<dyn ExecutionPlan>,
    context: Arc<TaskContext>,
    schema: &SchemaRef,
    shelf: &Shelf,
) -> Result<Vec<Chunk>, DataFusionError> {
    let (mut chunks, mut gathered, mut rows) = (Vec::new(), Vec::new(), 0);
    for mut stream in execute_stream_partitioned(plan, context)? {
        while let Some(batch) = stream.next().await {
            let batch = brought_to(schema, &batch?)?;
            rows += batch.num_rows();
            gathered.push(batch);
            if rows >= GATHERED_ROWS {
                chunks.extend(shelf.put_all(schema, &gathered)?);
                gathered.clear();
                rows = 0;
            }
        }
    }
    chunks.extend(shelf.put_all(schema, &gathered)?);
    Ok(chunks)
}

fn outside(error: impl std::error::Error + Send + Sync + 'static) -> DataFusionError {
    DataFusionError::External(Box::new(error))
}

fn is_out_of_memory(error: &DataFusionError) -> bool {
    matches!(error.find_root(), DataFusionError::ResourcesExhausted(_))
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
pub fn one_partition(state: &SessionState) -> SessionState {
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
