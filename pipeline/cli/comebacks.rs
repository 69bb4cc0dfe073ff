//! `voltwane comebacks`: the report for the service manager.

use chrono::{DateTime, Utc};
use clap::Args;

use super::report_args::ReportArgs;
use super::{LakeArgs, Outcome, print_written, spinner};
use report::{comebacks, texts};

/// Write the comebacks report
///
/// For the service manager: which repairs came back, by shop, technician, model and operation;
/// modules replaced for what the supply did; floods without a battery test; codes cleared and not
/// looked at again; repeat batteries; codes that stay. Writes OUT/YYYY-Www/ with comebacks.md,
/// comebacks.html, comebacks.xlsx, a CSV a table, and charts as SVG. The short version goes to stdout.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    The report of the newest week:\n    voltwane comebacks --lake lake\n\n  \
    Back in February, without names:\n    voltwane comebacks --lake lake --as-of 2026-02-15 --share --out to-send")]
pub struct Comebacks {
    #[command(flatten)]
    lake: LakeArgs,

    #[command(flatten)]
    report: ReportArgs,
}

impl Comebacks {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (lake, analysis) = self.lake.open(now).await?;
        analysis.newest_fact()?;
        let style = self.report.style(&lake, &analysis)?;
        let templates = texts::templates(&style)?;
        let spinner = spinner();
        let written = comebacks::write(&analysis, &self.report.out, &style, &templates, &|doing| {
            spinner.set_message(doing.to_owned());
        })
        .await;
        spinner.finish_and_clear();
        let written = written?;
        print_written(&written.short_version, &written.report)?;
        Ok(Outcome::Clean)
    }
}
