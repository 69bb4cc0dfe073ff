//! `voltwane load`: dumps into a lake.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use anyhow::Context;
use chrono::{DateTime, Utc};
use clap::Args;
use comfy_table::presets::ASCII_MARKDOWN;
use comfy_table::{CellAlignment, Table};
use indicatif::{ProgressBar, ProgressStyle};

use super::{Outcome, memory_limit, note, say, terminal, with_papers};
use intake::load::{FileOutcome, LoadProgress, load};
use intake::{Mappings, explain_file, find_files, suggest_mapping};
use lake::Lake;
use settings::{Limits, Settings};

/// Read dumps into a lake
///
/// Names files, or folders to walk. What a file holds is told from its header or from a mapping (a
/// .toml file beside it or in LAKE/mappings). Rows that cannot be used go to the quarantine table
/// with their reason; rows that are there already are not added again.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  voltwane load --lake lake dumps/\n  voltwane load --lake lake tests.csv orders.csv.gz mappings/"
)]
pub struct Load {
    /// The lake to load into; it is made if it is not there
    #[arg(long, value_name = "LAKE", required_unless_present_any = ["try_files", "write_mapping"])]
    lake: Option<String>,

    /// Files, or folders that hold some
    #[arg(value_name = "PATH", required = true)]
    paths: Vec<PathBuf>,

    /// Use this configuration instead of the lake's voltwane.toml
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,

    /// Show how each file would be understood, with sample values, and write nothing
    #[arg(long = "try")]
    try_files: bool,

    /// Save a first mapping for the one file named, to be edited
    #[arg(long, value_name = "FILE", conflicts_with = "try_files")]
    write_mapping: Option<PathBuf>,
}

/// Sample values shown for each column.
const SAMPLE_ROWS: usize = 3;

impl Load {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        if let Some(target) = &self.write_mapping {
            return write_mapping(&self.paths, target);
        }
        if self.try_files {
            return self.explain(now);
        }
        let place = self.lake.as_deref().unwrap_or_default();
        let mut lake = with_papers(Lake::open_or_create(place).await?).await?;
        let limits = self.limits(lake.papers().as_deref())?;
        let bar = progress_bar();
        let mut last_file = PathBuf::new();
        let outcomes = load(
            &mut lake,
            &self.paths,
            &limits,
            now,
            &mut |progress: LoadProgress<'_>| {
                let file = progress.file.display().to_string();
                let file = terminal::name(&file);
                if bar.is_hidden() {
                    if last_file != progress.file {
                        note(format_args!("reading {file}"));
                    }
                } else {
                    bar.set_length(progress.bytes_total);
                    bar.set_position(progress.bytes_done);
                    bar.set_message(file.into_owned());
                }
                if last_file != progress.file {
                    last_file = progress.file.to_owned();
                }
            },
        )
        .await;
        bar.finish_and_clear();
        let outcomes = outcomes?;
        say(summary(&outcomes))?;
        for outcome in &outcomes {
            for remark in &outcome.remarks {
                note(format_args!("{}: {remark}", terminal::name(&outcome.file)));
            }
            if let Some(error) = &outcome.error {
                note(format_args!("not loaded: {error}"));
            }
        }
        let failed = outcomes
            .iter()
            .filter(|outcome| outcome.error.is_some())
            .count();
        if failed == outcomes.len() {
            anyhow::bail!("none of the files could be loaded");
        }
        let quarantined: u64 = outcomes
            .iter()
            .map(|outcome| outcome.rows_quarantined)
            .sum();
        if quarantined > 0 {
            say(format_args!(
                "{quarantined} rows are in quarantine; to see why: voltwane check --lake {place}"
            ))?;
        }
        let unfinished = outcomes.iter().any(|outcome| outcome.lines_unfinished > 0);
        if failed > 0 || quarantined > 0 || unfinished {
            return Ok(Outcome::Findings);
        }
        Ok(Outcome::Clean)
    }
}

impl Load {
    /// The limits of the configuration named, of the lake's own, or the defaults.
    fn limits(&self, lake_folder: Option<&Path>) -> anyhow::Result<Limits> {
        let limits = Settings::find(self.config.as_deref(), lake_folder)?.limits;
        memory_limit::watch(&limits);
        Ok(limits)
    }

    fn explain(&self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let mut places = self.paths.clone();
        let own = self
            .lake
            .as_deref()
            .map(|lake| Path::new(lake).join("mappings"));
        places.extend(own.filter(|folder| folder.is_dir()));
        let found = find_files(&places);
        let mut mappings = Mappings::within(&self.limits(self.lake.as_deref().map(Path::new))?);
        for path in &found.mappings {
            mappings.read_toml(path)?;
        }
        let mut outcome = Outcome::Clean;
        for error in &found.left_out {
            outcome = Outcome::Findings;
            note(format_args!("not understood: {error}"));
        }
        for path in &found.dumps {
            match explain_file(path, &mappings, now, SAMPLE_ROWS) {
                Ok(explanation) => {
                    if !explanation.left_out.is_empty() {
                        outcome = Outcome::Findings;
                    }
                    say(explanation)?;
                }
                Err(error) => {
                    outcome = Outcome::Findings;
                    note(format_args!("not understood: {error}"));
                }
            }
        }
        Ok(outcome)
    }
}

fn write_mapping(paths: &[PathBuf], target: &Path) -> anyhow::Result<Outcome> {
    let [file] = paths else {
        anyhow::bail!("a mapping is made for one file: name just that file");
    };
    if target.exists() {
        anyhow::bail!("{} is there already: name a new file", target.display());
    }
    let mapping = suggest_mapping(file)?;
    std::fs::write(target, mapping)
        .with_context(|| format!("{} could not be written", target.display()))?;
    say(format_args!(
        "A first mapping for {} is in {}. Edit it, then look at it with: voltwane load --try {} {}",
        file.display(),
        target.display(),
        file.display(),
        target.display()
    ))?;
    Ok(Outcome::Clean)
}

fn progress_bar() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("{bar:30} {bytes}/{total_bytes} {wide_msg}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(0).with_style(style)
}

fn summary(outcomes: &[FileOutcome]) -> Table {
    let mut table = Table::new();
    table.load_preset(ASCII_MARKDOWN).set_header([
        "file",
        "kind",
        "read",
        "added",
        "already there",
        "quarantined",
    ]);
    let mut totals = [0u64; 4];
    for outcome in outcomes {
        let counts = [
            outcome.rows_read,
            outcome.rows_added,
            outcome.rows_already_there,
            outcome.rows_quarantined,
        ];
        for (total, count) in totals.iter_mut().zip(counts) {
            *total += count;
        }
        let kind = match outcome.error {
            Some(_) => "not loaded".to_owned(),
            None => outcome.kind.clone(),
        };
        let mut row = vec![terminal::name(&outcome.file).into_owned(), kind];
        row.extend(counts.map(|count| count.to_string()));
        table.add_row(row);
    }
    let mut row = vec!["all".to_owned(), String::new()];
    row.extend(totals.map(|count| count.to_string()));
    table.add_row(row);
    for at in 2..6 {
        if let Some(column) = table.column_mut(at) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    table
}
