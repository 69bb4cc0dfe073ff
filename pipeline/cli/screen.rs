//! `voltwane screen`: vehicles for sale, judged by their 12 V supply.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use clap::Args;

use super::report_args::ReportArgs;
use super::{LakeArgs, Outcome, note, print_written, spinner};
use intake::load::load;
use lake::Lake;
use report::screen;

/// Screen a list of vehicles for what their 12 V supply will cost
///
/// INVENTORY is a CSV with a column named vin, or one vehicle identification number a line. Further
/// paths are dumps about these vehicles (tests, scans, orders); they are read for this screening only
/// and do not go into the lake. Writes OUT/screen-YYYY-MM-DD/ with screen.md, screen.html, screen.xlsx
/// and screening.csv, sorted by the money at stake. The lake must be a folder where dumps are given.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    Vehicles that the lake knows:\n    voltwane screen --lake lake inventory.csv\n\n  \
    With the seller's own scans and tests, which are not kept:\n    voltwane screen --lake lake inventory.csv seller-scans.csv seller-tests.csv\n\n\
    Exit codes: 0 done, 1 done and lines of the list or dumps could not be used, 2 could not run.")]
pub struct Screen {
    #[command(flatten)]
    lake: LakeArgs,

    /// The list of vehicles
    #[arg(value_name = "INVENTORY")]
    inventory: PathBuf,

    /// Dumps about these vehicles, for this screening only
    #[arg(value_name = "DUMP")]
    dumps: Vec<PathBuf>,

    #[command(flatten)]
    report: ReportArgs,
}

impl Screen {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let listed = screen::read_inventory(&self.inventory)?;
        let mut findings = listed.iter().any(|entry| entry.vin.is_none());
        let spinner = spinner();
        spinner.set_message("screening");
        let mut lake_args = self.lake.clone();
        // Dropped, and with it the folder, when the command is over.
        let mut copy = None;
        if !self.dumps.is_empty() {
            let folder = Lake::open(&lake_args.lake).await?.folder().ok_or_else(|| {
                anyhow::anyhow!(
                    "dumps can be read beside a lake on this machine only: load them into {} first",
                    lake_args.lake
                )
            })?;
            let aside = Aside::of(&folder)?;
            let mut lake = Lake::open(&aside.folder.to_string_lossy()).await?;
            let outcomes = load(&mut lake, &self.dumps, now, &mut |_| {}).await?;
            for outcome in &outcomes {
                findings |= outcome.error.is_some() || outcome.rows_quarantined > 0;
                if let Some(error) = &outcome.error {
                    note(format_args!("not read: {error}"));
                }
                if outcome.rows_quarantined > 0 {
                    note(format_args!(
                        "{}: {} of {} rows could not be used",
                        outcome.file, outcome.rows_quarantined, outcome.rows_read
                    ));
                }
            }
            lake_args.lake = aside.folder.to_string_lossy().into_owned();
            copy = Some(aside);
        }
        let (_, analysis) = lake_args.open(now).await?;
        // Pseudonyms are those of the lake itself, not of the copy.
        let lake = Lake::open(&self.lake.lake).await?;
        let manner = self.report.manner(&lake, &analysis)?;
        let written = screen::write(&analysis, &listed, &self.report.out, &manner).await;
        spinner.finish_and_clear();
        drop(copy);
        let written = written?;
        print_written(&written.short_version, &written.report)?;
        Ok(if findings {
            Outcome::Findings
        } else {
            Outcome::Clean
        })
    }
}

/// A copy of a lake that further dumps can be read into; it is gone when dropped.
struct Aside {
    folder: PathBuf,
}

impl Aside {
    fn of(lake: &Path) -> anyhow::Result<Self> {
        let name = format!("voltwane-screen-{}", std::process::id());
        let aside = Self {
            folder: std::env::temp_dir().join(name),
        };
        for entry in walkdir::WalkDir::new(lake) {
            let entry = entry?;
            let to = aside.folder.join(entry.path().strip_prefix(lake)?);
            if entry.file_type().is_dir() {
                std::fs::create_dir_all(&to)?;
            } else if std::fs::hard_link(entry.path(), &to).is_err() {
                // Data files are never changed, so a second name for them is as good as a copy.
                std::fs::copy(entry.path(), &to)?;
            }
        }
        Ok(aside)
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_dir_all(&self.folder) {
            tracing::warn!(folder = %self.folder.display(), %error, "a temporary folder is left");
        }
    }
}
