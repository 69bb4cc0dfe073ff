//! What is of each vehicle by itself, made by the machines of a Ballista cluster.
//!
//! A plan goes to them as it would be worked through here, and with each bucket of vehicles where the rows
//! lie that it reads: in files of a folder that all machines see. Whoever works a bucket through puts its
//! rows there and tells where. So a bucket is made the same wherever it is, and again by another when a
//! machine is lost midway; what looks at the whole fleet is made here, from little.

mod bucket_work;
mod places;
mod plan_bytes;
mod servers;

use std::path::Path;
use std::sync::Arc;

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::{SchemaRef, UInt64Type};
use async_trait::async_trait;
use ballista_core::execution_plans::execute_physical_plan;
use ballista_core::extension::SessionConfigExt;
use datafusion::datasource::memory::MemorySourceConfig;
use datafusion::datasource::source::DataSourceExec;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlan;
use datafusion::physical_plan::ExecutionPlan;
use datafusion::prelude::SessionConfig;
use datafusion_proto::protobuf::PhysicalPlanNode;
use futures::StreamExt;
use prost::Message;

use super::kept::Chunk;
use super::making::Elsewhere;
use super::{Analysis, AnalysisError};
use bucket_work::{BucketWork, WorkCodec, buckets_schema};
use places::{Lists, Work, schema_bytes};

pub use servers::{Executor, Scheduler};

/// How often a plan is given to the cluster before it is given up: a machine lost between its work and the
/// telling of it fails the whole.
const TRIES: usize = 3;

/// Where a cluster is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    pub host: String,
    pub port: u16,
}

impl std::str::FromStr for Address {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let told = || format!("{text:?} is no cluster: write df://HOST:PORT");
        let (host, port) = text
            .strip_prefix("df://")
            .and_then(|rest| rest.rsplit_once(':'))
            .ok_or_else(told)?;
        match port.trim_end_matches('/').parse() {
            Ok(port) if !host.is_empty() => Ok(Self {
                host: host.to_owned(),
                port,
            }),
            _ => Err(told()),
        }
    }
}

/// A cluster that works for an analysis.
#[derive(Debug)]
struct Cluster {
    scheduler: Address,
    /// The lake's own code groups, which our functions over there need.
    code_groups: Option<String>,
}

impl Analysis {
    /// The same with what is of each vehicle made on a cluster. All its machines see the folder under the
    /// same name.
    pub fn on_cluster(self, scheduler: Address, folder: &Path) -> Result<Self, AnalysisError> {
        let code_groups = self.code_groups.table().map(str::to_owned);
        let cluster = Cluster {
            scheduler,
            code_groups,
        };
        self.made_elsewhere(Arc::new(cluster), folder)
    }
}

#[async_trait]
impl Elsewhere for Cluster {
    fn takes(&self, plan: &LogicalPlan) -> bool {
        plan_bytes::says_all(plan)
    }

    async fn by_vehicle(
        &self,
        plan: &Arc<dyn ExecutionPlan>,
        schema: &SchemaRef,
        buckets: usize,
        folder: &Path,
    ) -> Result<Vec<Vec<Chunk>>, DataFusionError> {
        let (plan, tables) = plan_bytes::written(plan)?;
        let rows = (0..buckets).map(|bucket| {
            let lists = tables
                .iter()
                .map(|table| table.buckets()[bucket].as_slice());
            Ok(vec![bucket_work::row(bucket, &Lists::of(lists)?)?])
        });
        let rows = rows.collect::<Result<Vec<_>, DataFusionError>>()?;
        let input = MemorySourceConfig::try_new(&rows, buckets_schema(), None)?;
        let work = Work {
            plan,
            schema: schema_bytes(schema),
            folder: folder.to_string_lossy().into_owned(),
            code_groups: self.code_groups.clone(),
        };
        let work = BucketWork::new(DataSourceExec::from_data_source(input), work);
        let work: Arc<dyn ExecutionPlan> = Arc::new(work);
        let mut tries = 0;
        loop {
            tries += 1;
            match self.worked_through(&work, buckets, folder).await {
                Err(error) if tries < TRIES => {
                    tracing::warn!(%error, "the cluster failed, once more");
                }
                done => return done,
            }
        }
    }
}

impl Cluster {
    /// What is put there of each bucket.
    async fn worked_through(
        &self,
        work: &Arc<dyn ExecutionPlan>,
        buckets: usize,
        folder: &Path,
    ) -> Result<Vec<Vec<Chunk>>, DataFusionError> {
        let config = SessionConfig::new_with_ballista().with_ballista_adaptive_query_planner(false);
        let session = folder.file_name().unwrap_or_default();
        let session = session.to_string_lossy().into_owned();
        let mut told = execute_physical_plan::<PhysicalPlanNode>(
            format!("http://{}:{}", self.scheduler.host, self.scheduler.port),
            &config.ballista_config(),
            Arc::clone(work),
            &WorkCodec::default(),
            session,
            config,
        )
        .await?;
        let mut made: Vec<Option<Vec<Chunk>>> = vec![None; buckets];
        while let Some(rows) = told.next().await {
            for (bucket, chunks) in read(&rows?)? {
                let place = made.get_mut(bucket).ok_or_else(|| missing(bucket))?;
                *place = Some(chunks);
            }
        }
        (0..)
            .zip(made)
            .map(|(bucket, chunks)| chunks.ok_or_else(|| missing(bucket)))
            .collect()
    }
}

fn missing(bucket: usize) -> DataFusionError {
    DataFusionError::Execution(format!("the cluster did not tell of bucket {bucket} once"))
}

/// The buckets that rows tell of, with where their rows lie.
fn read(rows: &RecordBatch) -> Result<Vec<(usize, Vec<Chunk>)>, DataFusionError> {
    let buckets = rows.column(0).as_primitive::<UInt64Type>().values();
    let lists = rows.column(1).as_binary::<i32>().iter();
    buckets
        .iter()
        .zip(lists)
        .map(|(bucket, list)| {
            let lists = Lists::decode(list.unwrap_or_default())
                .map_err(|error| DataFusionError::External(Box::new(error)))?;
            let chunks = lists.chunks().into_iter().flatten().collect();
            Ok((usize::try_from(*bucket).unwrap_or(usize::MAX), chunks))
        })
        .collect()
}
