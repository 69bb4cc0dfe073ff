//! The command line: one file a command; each parses, calls and prints, and decides nothing.
//!
//! Exit codes: 0 done and clean, 1 done with findings (rows in quarantine, a file that could not be
//! read, something `check` found), 2 could not run, 130 or 143 ended by Ctrl-C or SIGTERM. Results go to stdout, everything else to stderr.

mod backtest;
mod check;
#[cfg(feature = "cluster")]
mod cluster;
mod comebacks;
mod forget;
mod history;
mod interrupt;
mod load;
mod loads;
mod memory_limit;
mod mend;
mod rehearse;
mod report_args;
mod scratch;
mod screen;
mod settings;
mod shell;
mod sql;
mod synthesize;
mod terminal;
mod unload;
mod weekly;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use chrono::{DateTime, NaiveDate, Utc};
use clap::{Args, Parser, Subcommand, ValueEnum};
use indicatif::ProgressBar;

use ::settings::Settings;
use lake::Lake;
use tables::Analysis;

/// What a command ends with when it could run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    Clean,
    Findings,
}

#[derive(Debug, Parser)]
#[command(
    name = "voltwane",
    version,
    about = "Weekly 12 V battery risk for vehicle fleets",
    long_about = "Loads dumps of battery tests, code scans, work orders and the vehicle register into a lake, \
                  and writes a weekly report that ranks the 12 V batteries to replace before they strand anyone.",
    after_help = "A first week:\n  \
                  voltwane load --lake lake dumps/\n  \
                  voltwane weekly --lake lake\n\n\
                  Without data of your own:\n  \
                  voltwane synthesize --vehicles 400 --weeks 156 --seed 7 --out dumps\n\n\
                  `voltwane help COMMAND` shows a command's examples.\n\n\
                  Exit codes: 0 done, 1 done with findings, 2 could not run."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,

    /// How progress and diagnostics are written to stderr
    #[arg(
        long,
        value_enum,
        global = true,
        // After a command's own options.
        display_order = 900,
        default_value = "text",
        value_name = "FORM"
    )]
    log: LogForm,

    /// Take this instant for the present (for repeatable runs)
    #[arg(
        long,
        global = true,
        hide = true,
        env = "VOLTWANE_NOW",
        value_name = "INSTANT"
    )]
    now: Option<DateTime<Utc>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LogForm {
    Text,
    Json,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Read dumps into a lake
    Load(load::Load),
    /// Write the weekly risk report
    Weekly(weekly::Weekly),
    /// Write the comebacks report
    Comebacks(comebacks::Comebacks),
    /// Screen a list of vehicles for what their 12 V supply will cost
    Screen(screen::Screen),
    /// Write the history of one vehicle
    History(history::History),
    /// Ask the lake in SQL
    Sql(sql::Sql),
    /// Hold the risk model against what came
    Backtest(backtest::Backtest),
    /// Look for what is wrong in a lake
    Check(check::Check),
    /// List the loads of a lake
    Loads(loads::Loads),
    /// Write quarantined rows out to be mended
    Mend(mend::Mend),
    /// Take a load back out of a lake
    Unload(unload::Unload),
    /// Remove vehicles from a lake for good
    Forget(forget::Forget),
    /// Show every setting with its default, meaning and source
    Settings(settings::Settings),
    /// Serve a cluster
    #[cfg(feature = "cluster")]
    Serve(cluster::Serve),
    /// Rehearse the plan on invented fleets, against plainer policies
    Rehearse(rehearse::Rehearse),
    /// Write the dumps of an invented fleet
    Synthesize(synthesize::Synthesize),
    /// Print completions for a shell
    #[command(hide = true)]
    Completions(shell::Completions),
    /// Write the manual pages
    #[command(hide = true)]
    Manual(shell::Manual),
}

/// Where a command finds its lake, and how it looks at it.
#[derive(Debug, Clone, Args)]
struct LakeArgs {
    /// The lake: a folder, or an address in an object store
    #[arg(long, value_name = "LAKE")]
    lake: String,

    /// Look back from the end of this day; the newest fact's day if not given
    #[arg(long, value_name = "YYYY-MM-DD")]
    as_of: Option<NaiveDate>,

    /// Know only what had been loaded or corrected by the end of this day
    #[arg(long, value_name = "YYYY-MM-DD")]
    known_by: Option<NaiveDate>,

    /// Use this configuration instead of the lake's voltwane.toml
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,

    /// Use the .sql files of this folder before the built-in ones of the same name
    #[arg(long, value_name = "DIR")]
    queries: Option<PathBuf>,

    #[cfg(feature = "cluster")]
    #[command(flatten)]
    cluster: cluster::ClusterArgs,
}

impl LakeArgs {
    async fn open(&self, now: DateTime<Utc>) -> anyhow::Result<(Lake, Analysis)> {
        let lake = with_papers(Lake::open(&self.lake).await?).await?;
        let settings = self.settings(&lake)?;
        let analysis = self.analysis(&lake, &[], settings, now).await?;
        Ok((lake, analysis))
    }

    /// The settings for this lake; from here on the run's memory is watched.
    fn settings(&self, lake: &Lake) -> anyhow::Result<Settings> {
        let settings = Settings::find(self.config.as_deref(), lake.papers().as_deref())?;
        memory_limit::watch(&settings.limits);
        for warning in settings.warnings() {
            note(format_args!("settings: {warning}"));
        }
        Ok(settings)
    }

    /// The lake looked at, with what stands in the lakes beside it.
    async fn analysis(
        &self,
        lake: &Lake,
        beside: &[&Lake],
        settings: Settings,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Analysis> {
        let (today, queries) = (now.date_naive(), self.queries.as_deref());
        let analysis = Analysis::new(
            lake,
            beside,
            self.as_of,
            self.known_by,
            today,
            settings,
            queries,
        )
        .await?;
        #[cfg(feature = "cluster")]
        let analysis = self.cluster.analysis(analysis)?;
        Ok(analysis)
    }
}

/// The lake with its settings, mappings and code groups at hand, wherever it lies.
async fn with_papers(mut lake: Lake) -> Result<Lake, ::lake::LakeError> {
    lake.fetch_papers(scratch::folder).await?;
    Ok(lake)
}

/// Says on stderr what is being worked on; not where stderr is no terminal.
fn spinner() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let spinner = ProgressBar::new_spinner();
    spinner.enable_steady_tick(Duration::from_millis(120));
    spinner
}

/// Prints a line of the answer. That nobody reads it any more, as in `voltwane … | head`, is no failure:
/// the work is done and its exit code stands.
fn say(line: impl std::fmt::Display) -> std::io::Result<()> {
    let line = line.to_string();
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{}", terminal::printable(&line)).and_then(|()| out.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        told => told,
    }
}

/// Writes a line to stderr, whether or not anybody reads it.
fn note(line: impl std::fmt::Display) {
    let line = line.to_string();
    let _ = writeln!(std::io::stderr().lock(), "{}", terminal::printable(&line));
}

/// Prints a report's short version and where it is.
fn print_written(short_version: &[String], report: &Path) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    for line in short_version {
        writeln!(out, "{}", terminal::printable(line))?;
    }
    let report = report.display().to_string();
    writeln!(out, "\nThe report: {}", terminal::name(&report))
}

/// Whether it failed only because nobody reads stdout any more, as in `voltwane … | head`.
fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|part| {
        part.downcast_ref::<std::io::Error>()
            .is_some_and(|error| error.kind() == std::io::ErrorKind::BrokenPipe)
    })
}

/// Stack of the thread that plans queries and of those that run them: a plan is as deep as the
/// expressions in it, and the depth of those is limited.
const STACK_BYTES: usize = 64 << 20;

/// Runs the command that was typed.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are answers, everything else is a mistake.
            let code = if error.use_stderr() { 2 } else { 0 };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    start_log(cli.log);
    pass_over_caught_panics();
    let log = cli.log;
    let command = std::thread::Builder::new()
        .stack_size(STACK_BYTES)
        .spawn(move || run_command(cli));
    let ended = command.map(std::thread::JoinHandle::join);
    match ended {
        Ok(Ok(code)) => code,
        Ok(Err(_)) => ExitCode::from(2),
        Err(error) => {
            tell_failure(
                log,
                &anyhow::anyhow!(error).context("no thread could be started"),
            );
            ExitCode::from(2)
        }
    }
}

fn run_command(cli: Cli) -> ExitCode {
    let now = cli.now.unwrap_or_else(Utc::now);
    // Dropped after the runtime, so that nothing still writes there.
    let _temporary = scratch::RemovedAtTheEnd;
    let runtime = match tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(STACK_BYTES)
        .build()
    {
        Ok(runtime) => runtime,
        Err(error) => {
            tell_failure(
                cli.log,
                &anyhow::anyhow!(error).context("the runtime could not be started"),
            );
            return ExitCode::from(2);
        }
    };
    let log = cli.log;
    let command = async {
        match cli.command {
            Command::Load(command) => command.run(now).await,
            Command::Weekly(command) => command.run(now).await,
            Command::Comebacks(command) => command.run(now).await,
            Command::Screen(command) => command.run(now).await,
            Command::History(command) => command.run(now).await,
            Command::Sql(command) => command.run(now).await,
            Command::Backtest(command) => command.run(now).await,
            Command::Check(command) => command.run(now).await,
            Command::Loads(command) => command.run(now).await,
            Command::Mend(command) => command.run(now).await,
            Command::Unload(command) => command.run().await,
            Command::Forget(command) => command.run().await,
            Command::Settings(command) => command.run().await,
            #[cfg(feature = "cluster")]
            Command::Serve(command) => command.run().await,
            Command::Rehearse(command) => command.run().await,
            Command::Synthesize(command) => command.run(),
            Command::Completions(command) => command.run(),
            Command::Manual(command) => command.run(),
        }
    };
    let done = runtime.block_on(interrupt::unless_interrupted(command));
    runtime.shutdown_timeout(interrupt::GRACE);
    let done = match done {
        Ok(done) => done,
        Err(signal) => return signal.exit_code(),
    };
    match done {
        Ok(Outcome::Clean) => ExitCode::SUCCESS,
        Ok(Outcome::Findings) => ExitCode::from(1),
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            tell_failure(log, &error);
            ExitCode::from(2)
        }
    }
}

fn tell_failure(log: LogForm, error: &anyhow::Error) {
    match log {
        LogForm::Text => note(format_args!("voltwane: {}", readable(error))),
        LogForm::Json => tracing::error!("{}", terminal::printable(&readable(error))),
    }
}

/// The error and those behind it, without one that its successor already quotes.
fn readable(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for part in error.chain().map(ToString::to_string) {
        let part = match std::env::var_os("RUST_BACKTRACE") {
            Some(_) => part.as_str(),
            None => without_backtrace(&part),
        };
        if !text.contains(part) {
            if !text.is_empty() {
                text.push_str(": ");
            }
            text.push_str(part);
        }
    }
    text
}

/// A message up to the trace of calls that some libraries put into theirs: whoever wants one asks for
/// it by RUST_BACKTRACE.
fn without_backtrace(message: &str) -> &str {
    let marks = [
        "\n\nbacktrace:",
        "\nBacktrace",
        "\nStack backtrace",
        "\n   0: ",
    ];
    let end = marks.iter().filter_map(|mark| message.find(mark)).min();
    message[..end.unwrap_or(message.len())].trim_end()
}

/// Leaves out what would be said of a panic that is none: where an upload fails at its end, one library
/// panics by design and another catches it. The error that it comes with is told.
fn pass_over_caught_panics() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        let is_caught = panic.location().is_some_and(|at| {
            at.file().ends_with("buffered.rs") && at.file().contains("object_store")
        });
        if !is_caught {
            usual(panic);
        }
    }));
}

fn start_log(form: LogForm) {
    use tracing_subscriber::EnvFilter;
    let filter = EnvFilter::try_from_env("VOLTWANE_LOG").unwrap_or_else(|_| {
        EnvFilter::new("warn,deltalake_core=error,deltalake_core::kernel::transaction=off")
    });
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none())
        .with_writer(std::io::stderr);
    match form {
        LogForm::Text => log.without_time().with_target(false).init(),
        LogForm::Json => log.json().init(),
    }
}
