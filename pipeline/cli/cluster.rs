//! `--cluster`, and `voltwane serve`: a cluster of machines that make what is of each vehicle.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::{Outcome, memory_limit, scratch};
use ::settings::Settings;
use tables::Analysis;
use tables::cluster::{Address, Executor, Scheduler};

/// Where a command has its tables made.
#[derive(Debug, Clone, Args)]
pub struct ClusterArgs {
    /// Have what is of each vehicle made by the executors of this scheduler
    #[arg(long, value_name = "df://HOST:PORT")]
    cluster: Option<Address>,

    /// A folder that this machine and all executors see under this name; the one for temporary files if
    /// not given
    #[arg(long, value_name = "DIR", requires = "cluster")]
    shared_folder: Option<PathBuf>,
}

impl ClusterArgs {
    /// The analysis, on the cluster where one is named.
    pub fn analysis(&self, analysis: Analysis) -> anyhow::Result<Analysis> {
        let Some(cluster) = &self.cluster else {
            return Ok(analysis);
        };
        let folder = scratch::folder_in(self.shared_folder.as_deref())?;
        Ok(analysis.on_cluster(cluster.clone(), &folder)?)
    }
}

/// Serve a cluster
///
/// One scheduler divides work among executors; a command given --cluster has it done there. Whoever reaches
/// their ports can have work done and read what is told, so they belong in a network of one's own. All of them
/// are to be of one version of this program.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane serve scheduler --listen 127.0.0.1:50050\n  \
    voltwane serve executor --scheduler df://127.0.0.1:50050 --listen 127.0.0.1:50060\n  \
    voltwane weekly --lake lake --cluster df://127.0.0.1:50050")]
pub struct Serve {
    #[command(subcommand)]
    role: Role,
}

#[derive(Debug, Subcommand)]
enum Role {
    /// Divide work among executors
    Scheduler {
        /// Where executors and commands reach it
        #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:50050")]
        listen: SocketAddr,
    },
    /// Do the work that a scheduler gives
    Executor {
        /// The scheduler
        #[arg(
            long,
            value_name = "df://HOST:PORT",
            default_value = "df://127.0.0.1:50050"
        )]
        scheduler: Address,

        /// Where it is reached, at this port and the next
        #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:50060")]
        listen: SocketAddr,

        /// The name by which others reach it; that from which it calls the scheduler if not given
        #[arg(long, value_name = "NAME")]
        host: Option<String>,

        /// How many buckets of vehicles it works through at a time; one a processor if not given
        #[arg(long, value_name = "N")]
        threads: Option<std::num::NonZeroUsize>,

        /// Take the limit of memory from this configuration
        #[arg(long, value_name = "FILE")]
        config: Option<PathBuf>,
    },
}

impl Serve {
    pub async fn run(self) -> anyhow::Result<Outcome> {
        let served = match self.role {
            Role::Scheduler { listen } => Scheduler { listen }.run().await,
            Role::Executor {
                scheduler,
                listen,
                host,
                threads,
                config,
            } => {
                let settings = Settings::find(config.as_deref(), None)?;
                memory_limit::watch(&settings.limits);
                let all = std::thread::available_parallelism();
                let executor = Executor {
                    scheduler,
                    listen,
                    host,
                    threads: threads.or(all.ok()).map_or(1, usize::from),
                    memory: settings.limits.query_memory(),
                };
                executor.run().await
            }
        };
        served.map_err(|error| anyhow::anyhow!(error))?;
        Ok(Outcome::Clean)
    }
}
