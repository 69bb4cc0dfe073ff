//! `voltwane history`: everything on record of one vehicle.

use chrono::{DateTime, Utc};
use clap::Args;

use super::report_args::ReportArgs;
use super::{LakeArgs, Outcome, print_written, spinner};
use report::{history, texts};

/// Write the history of one vehicle
///
/// Its batteries, their tests with trend and forecast, scans, floods, work orders, and what the weekly
/// reports said of it. Writes OUT/history-NAME/ with history.md, history.html, history.xlsx and
/// events.csv, and charts as SVG.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    By the fleet's own number:\n    voltwane history --lake lake N00129\n\n  \
    By its identification number, as it was known in February:\n    voltwane history --lake lake GB6HD4H2XRK000000 --as-of 2026-02-15")]
pub struct History {
    #[command(flatten)]
    lake: LakeArgs,

    /// The vehicle's identification number or unit number
    #[arg(value_name = "VIN|UNIT")]
    vehicle: String,

    #[command(flatten)]
    report: ReportArgs,
}

impl History {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (lake, analysis) = self.lake.open(now).await?;
        analysis.newest_fact()?;
        let style = self.report.style(&lake, &analysis)?;
        let templates = texts::templates(&style)?;
        let spinner = spinner();
        spinner.set_message("reading the vehicle's history");
        let written = history::write(
            &analysis,
            &self.vehicle,
            &self.report.out,
            &style,
            &templates,
        )
        .await;
        spinner.finish_and_clear();
        let written = written?;
        print_written(&written.short_version, &written.report)?;
        Ok(Outcome::Clean)
    }
}
