//! The weekly report: a list of sections, and what it said kept in the lake.

mod told;

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use super::ReportError;
use super::document::Document;
use super::manner::Manner;
use super::sections::{self, Reading, Section};
use super::templates::Templates;
use lake::Lake;
use tables::Analysis;

/// The sections, as the reader meets them.
const SECTIONS: &[Section] = &[
    sections::opening::SECTION,
    sections::ranking::SECTION,
    sections::depots::SECTION,
    sections::depot_sheet::SECTION,
    sections::pick_list::SECTION,
    sections::test_first::SECTION,
    sections::floods::SECTION,
    sections::recoveries::SECTION,
    sections::last_report::SECTION,
    sections::lives::SECTION,
    sections::failure_rates::SECTION,
    sections::data::SECTION,
    sections::method::SECTION,
    sections::glossary::SECTION,
];

/// What was written, and the report's short version for the terminal.
#[derive(Debug)]
pub struct Written {
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`, and appends what
/// it says to `risk_week`. `progress` hears what is being worked on.
pub async fn write(
    lake: &mut Lake,
    analysis: &Analysis,
    out: &Path,
    manner: &Manner,
    now: DateTime<Utc>,
    progress: &dyn Fn(&str),
) -> Result<Written, ReportError> {
    let templates = Templates::new(manner)?;
    let reading = Reading {
        analysis,
        manner,
        templates: &templates,
    };
    let week = reading.week();
    let whole = sections::make(SECTIONS, &reading, progress).await?;
    let document = Document {
        name: "report",
        title: format!("12 V battery risk, week {week}"),
        as_of: analysis.as_of(),
        markdown: whole.markdown,
        charts: whole.charts,
        tables: whole.tables,
        pages: whole.pages,
    };
    let report = document.write(&out.join(&week), manner)?;
    let ranking = sections::ranking::rows::as_ranked(&reading).await?;
    told::append(lake, analysis, &week, &ranking, now)
        .await
        .map_err(|source| ReportError::NotKept {
            report: report.clone(),
            source: Box::new(source),
        })?;
    Ok(Written {
        report,
        short_version: whole.short_version,
    })
}
