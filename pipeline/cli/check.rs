//! `voltwane check`: what is in a lake, and what in it does not fit together.

use std::io::Write;

use chrono::{DateTime, Utc};
use clap::Args;
use comfy_table::Table;
use comfy_table::presets::ASCII_MARKDOWN;
use serde::Deserialize;

use super::{LakeArgs, Outcome, terminal};
use report::words::finding::what_to_do;

/// Look for what is wrong in a lake
///
/// Exit code 0 if nothing was found, 1 if something was, 2 if the lake could not be looked at.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  voltwane check --lake lake")]
pub struct Check {
    #[command(flatten)]
    lake: LakeArgs,
}

#[derive(Debug, Deserialize)]
struct Extent {
    table_name: String,
    rows: i64,
    first_day: Option<String>,
    last_day: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Finding {
    finding: String,
    table_name: String,
    times: i64,
    example: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Corrected {
    table_name: String,
    corrected_by: String,
    file: String,
    facts: i64,
}

#[derive(Debug, Deserialize)]
struct ToldAgain {
    week: String,
    runs: i64,
}

impl Check {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (lake, analysis) = self.lake.open(now).await?;
        let extents: Vec<Extent> = analysis
            .rows("SELECT * FROM table_extent ORDER BY table_name")
            .await?;
        let findings: Vec<Finding> = analysis
            .rows("SELECT * FROM lake_finding ORDER BY table_name, times DESC, finding")
            .await?;
        let corrections: Vec<Corrected> = analysis
            .rows(
                "SELECT table_name, corrected_by, COALESCE(corrected_in_file, '') AS file, COUNT(*) AS facts
                 FROM correction GROUP BY table_name, corrected_by, COALESCE(corrected_in_file, '')
                 ORDER BY corrected_by, table_name, file",
            )
            .await?;
        let told_again: Vec<ToldAgain> = analysis
            .rows(
                "SELECT week, COUNT(DISTINCT COALESCE(run_id, CONCAT(load_id, ' ', CAST(as_of AS VARCHAR)))) AS runs
                 FROM lake.risk_week GROUP BY week
                 HAVING COUNT(DISTINCT COALESCE(run_id, CONCAT(load_id, ' ', CAST(as_of AS VARCHAR)))) > 1
                 ORDER BY week",
            )
            .await?;
        let mut out = std::io::stdout().lock();
        let mut tables = Table::new();
        tables
            .load_preset(ASCII_MARKDOWN)
            .set_header(["table", "rows", "first day", "last day"]);
        for extent in extents {
            tables.add_row([
                extent.table_name,
                extent.rows.to_string(),
                extent.first_day.unwrap_or_default(),
                extent.last_day.unwrap_or_default(),
            ]);
        }
        writeln!(out, "{tables}")?;
        if !corrections.is_empty() {
            let mut table = Table::new();
            table
                .load_preset(ASCII_MARKDOWN)
                .set_header(["corrected by", "in", "table", "facts"]);
            for correction in corrections {
                table.add_row([
                    correction.corrected_by,
                    terminal::name(&correction.file).into_owned(),
                    correction.table_name,
                    correction.facts.to_string(),
                ]);
            }
            writeln!(
                out,
                "\nFacts that a later load told otherwise; the newest counts:\n{table}"
            )?;
        }
        for ToldAgain { week, runs } in told_again {
            writeln!(
                out,
                "\n{week} was told by {runs} weekly runs; the newest counts."
            )?;
        }
        let older = lake.older_tables()?;
        if !older.is_empty() {
            writeln!(
                out,
                "\nWritten by an older voltwane, read as they are and brought up by the next load: {}.",
                older.join(", ")
            )?;
        }
        if findings.is_empty() {
            writeln!(out, "\nNothing was found that does not fit.")?;
            return Ok(Outcome::Clean);
        }
        let mut table = Table::new();
        table.load_preset(ASCII_MARKDOWN).set_header([
            "finding",
            "table",
            "times",
            "for example",
            "what to do",
        ]);
        for finding in findings {
            let what_to_do = what_to_do(&finding.finding);
            table.add_row([
                finding.finding,
                finding.table_name,
                finding.times.to_string(),
                finding.example.unwrap_or_default(),
                what_to_do.to_owned(),
            ]);
        }
        writeln!(out, "\n{table}")?;
        Ok(Outcome::Findings)
    }
}
