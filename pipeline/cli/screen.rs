//! `voltwane screen`: vehicles for sale, judged by their 12 V supply.

use std::path::PathBuf;

use anyhow::Context;
use chrono::{DateTime, Utc};
use clap::Args;

use super::report_args::ReportArgs;
use super::{LakeArgs, Outcome, note, print_written, scratch, spinner, with_papers};
use intake::load::load;
use lake::Lake;
use report::{screen, texts};
use settings::Limits;

/// Screen a list of vehicles for what their 12 V supply will cost
///
/// INVENTORY is a CSV with a column named vin, or one vehicle identification number a line. Its other
/// columns (lot, price, seller) come first in the answer, and what is at stake is held against a column
/// named price. Further paths are dumps about these vehicles (tests, scans, orders); they are read for
/// this screening only and do not go into the lake. Writes OUT/screen-YYYY-MM-DD/ with screen.md,
/// screen.html, screen_lines.html to print, screen.xlsx and screening.csv, sorted by the money at stake. The lake must be a folder where dumps are given.
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
        let inventory = screen::read_inventory(&self.inventory)?;
        let mut findings = inventory
            .lines
            .iter()
            .any(|entry| matches!(entry.vin, Err(screen::Fault::Malformed(_))));
        let spinner = spinner();
        spinner.set_message("screening");
        let lake = with_papers(Lake::open(&self.lake.lake).await?).await?;
        let settings = self.lake.settings(&lake)?;
        let limits = settings.limits.clone();
        let sellers = match self.dumps.is_empty() {
            true => None,
            false => Some(self.read_beside(&lake, &limits, now, &mut findings).await?),
        };
        let beside: Vec<&Lake> = sellers.iter().collect();
        let analysis = self.lake.analysis(&lake, &beside, settings, now).await?;
        let style = self.report.style(&lake, &analysis)?;
        let templates = texts::templates(&style)?;
        let written =
            screen::write(&analysis, &inventory, &self.report.out, &style, &templates).await;
        spinner.finish_and_clear();
        let written = written?;
        print_written(&written.short_version, &written.report)?;
        Ok(if findings {
            Outcome::Findings
        } else {
            Outcome::Clean
        })
    }

    /// Reads the dumps into a lake of their own, in a temporary folder. They are understood as the
    /// lake would, by its mappings, but nothing is written, linked or copied beside it.
    async fn read_beside(
        &self,
        lake: &Lake,
        limits: &Limits,
        now: DateTime<Utc>,
        findings: &mut bool,
    ) -> anyhow::Result<Lake> {
        let folder = scratch::folder().context("no temporary folder could be made")?;
        let mut sellers = Lake::open_or_create(&folder.to_string_lossy()).await?;
        let mut paths = self.dumps.clone();
        paths.extend(
            lake.papers()
                .map(|folder| folder.join("mappings"))
                .filter(|mappings| mappings.is_dir()),
        );
        let outcomes = load(&mut sellers, &paths, limits, now, &mut |_| {}).await?;
        for outcome in &outcomes {
            *findings |= outcome.error.is_some() || outcome.rows_quarantined > 0;
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
        Ok(sellers)
    }
}
