//! The two kinds of server of a cluster: the one that divides work, and those that do it with our functions.

use std::net::SocketAddr;
use std::sync::Arc;

use ballista_core::error::BallistaError;
use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;

use super::Address;
use super::bucket_work::WorkCodec;

/// How often an executor tells that it is there, and after how long a silence it is taken to be lost, in seconds.
const TELLS_EVERY_S: u64 = 2;
const LOST_AFTER_S: u64 = 10;

/// The most bytes of a message: a plan with where the rows lie of all buckets of it.
const MESSAGE_BYTES: u32 = 256 << 20;

/// Divides the work of the analyses that ask it among its executors.
#[derive(Debug, Clone)]
pub struct Scheduler {
    pub listen: SocketAddr,
}

impl Scheduler {
    /// Serves until the process ends. Errors when the address cannot be listened on.
    pub async fn run(self) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
        let config = SchedulerConfig {
            bind_host: self.listen.ip().to_string(),
            bind_port: self.listen.port(),
            executor_timeout_seconds: LOST_AFTER_S,
            expire_dead_executor_interval_seconds: TELLS_EVERY_S,
            grpc_server_max_decoding_message_size: MESSAGE_BYTES,
            grpc_server_max_encoding_message_size: MESSAGE_BYTES,
            grpc_client_max_message_size: MESSAGE_BYTES,
            override_physical_codec: Some(Arc::new(WorkCodec::default())),
            ..SchedulerConfig::default()
        };
        let cluster = BallistaCluster::new_from_config(&config)
            .await
            .map_err(told)?;
        let served = start_server(cluster, self.listen, Arc::new(config)).await;
        served.map_err(told)
    }
}

/// Does work for a scheduler.
#[derive(Debug, Clone)]
pub struct Executor {
    pub scheduler: Address,
    /// Where others fetch what it tells; it is given work at the next port.
    pub listen: SocketAddr,
    /// The name under which others reach it; that from which the scheduler is called where there is none.
    pub host: Option<String>,
    /// How many buckets it works through at a time.
    pub threads: usize,
    /// What the queries of all of them together may take, in bytes.
    pub memory: usize,
}

impl Executor {
    /// Serves until the process ends. Errors when the scheduler cannot be reached or the ports are taken.
    pub async fn run(self) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
        let scratch = tempfile::Builder::new().prefix("voltwane-").tempdir()?;
        let config = ExecutorProcessConfig {
            bind_host: self.listen.ip().to_string(),
            port: self.listen.port(),
            grpc_port: self.listen.port().saturating_add(1),
            external_host: self.host,
            scheduler_host: self.scheduler.host,
            scheduler_port: self.scheduler.port,
            vcores: self.threads,
            memory_pool_size: Some(self.memory as u64),
            work_dir: Some(scratch.path().to_string_lossy().into_owned()),
            executor_heartbeat_interval_seconds: TELLS_EVERY_S,
            grpc_max_decoding_message_size: MESSAGE_BYTES,
            grpc_max_encoding_message_size: MESSAGE_BYTES,
            override_physical_codec: Some(Arc::new(WorkCodec::default())),
            ..ExecutorProcessConfig::default()
        };
        start_executor_process(Arc::new(config)).await.map_err(told)
    }
}

fn told(error: BallistaError) -> Box<dyn std::error::Error + Send + Sync> {
    Box::new(error)
}
