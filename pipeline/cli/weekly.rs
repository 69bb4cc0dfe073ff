//! `voltwane weekly`: the weekly risk report.

use chrono::{DateTime, Utc};
use clap::Args;

use super::report_args::ReportArgs;
use super::{LakeArgs, Outcome, print_written, spinner};
use report::{texts, weekly};

/// Write the weekly risk report
///
/// Writes OUT/YYYY-Www/ with report.md, report.html, report.xlsx, ranking.csv and further tables, and
/// charts as SVG, and keeps what it said in the lake's risk_week table. OUT/index.html shows all weeks
/// that stand in OUT, and OUT/latest leads to the newest. The short version goes to stdout and into
/// report.txt.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    The report of the newest week:\n    voltwane weekly --lake lake\n\n  \
    The report as it would have been in February:\n    voltwane weekly --lake lake --as-of 2026-02-15 --out reports\n\n  \
    A report for outside the house, in miles and degrees Fahrenheit:\n    voltwane weekly --lake lake --share --units us --out to-send")]
pub struct Weekly {
    #[command(flatten)]
    lake: LakeArgs,

    #[command(flatten)]
    report: ReportArgs,
}

impl Weekly {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (mut lake, analysis) = self.lake.open(now).await?;
        analysis.newest_fact()?;
        if analysis.as_of() > now.date_naive() {
            anyhow::bail!(
                "{} is in the future: a report looks back from a day that is over",
                analysis.as_of()
            );
        }
        let style = self.report.style(&lake, &analysis)?;
        let templates = texts::templates(&style)?;
        let spinner = spinner();
        let written = weekly::write(
            &mut lake,
            &analysis,
            &self.report.out,
            &style,
            &templates,
            now,
            &|doing| {
                spinner.set_message(doing.to_owned());
            },
        )
        .await;
        spinner.finish_and_clear();
        let written = written?;
        print_written(&written.short_version, &written.report)?;
        Ok(Outcome::Clean)
    }
}
