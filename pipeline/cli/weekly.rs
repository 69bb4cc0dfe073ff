//! `voltwane weekly`: the weekly risk report.

use std::path::PathBuf;

use chrono::{DateTime, Utc};
use clap::Args;

use super::{LakeArgs, Outcome};
use crate::report::weekly;

/// Write the weekly risk report
///
/// Writes OUT/YYYY-Www/report.md with its charts and ranking.csv, and keeps what it said in the
/// lake's risk_week table.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  voltwane weekly --lake lake\n  voltwane weekly --lake lake --as-of 2026-02-15 --out reports"
)]
pub struct Weekly {
    #[command(flatten)]
    lake: LakeArgs,

    /// Where to write the week's folder
    #[arg(long, value_name = "DIR", default_value = "reports")]
    out: PathBuf,
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
        let written = weekly::write(&mut lake, &analysis, &self.out).await?;
        for line in &written.short_version {
            println!("{line}");
        }
        println!("\nThe report: {}", written.report.display());
        Ok(Outcome::Clean)
    }
}
