//! The weekly report: a list of sections, set beside those of earlier weeks, and what it said kept in
//! the lake.

mod risk_week_append;
mod shelf;

use std::path::Path;

use chrono::{DateTime, Utc};
use futures::{StreamExt, TryStreamExt, stream};

use super::ReportError;
use super::document::{Document, Written};
use super::history;
use super::history::views::Named;
use super::section::{self, Reading, Section};
use super::sections;
use super::style::ReportStyle;
use super::templates::Templates;
use lake::Lake;
use tables::Analysis;

/// The sections, as the reader meets them.
pub const SECTIONS: &[Section] = &[
    sections::opening::SECTION,
    sections::ranking::SECTION,
    sections::depots::SECTION,
    sections::depot_sheet::SECTION,
    sections::last_report::SECTION,
    sections::data::SECTION,
    sections::appendix::SECTION,
    sections::depot_lines::SECTION,
    sections::pick_list::SECTION,
    sections::test_first::SECTION,
    sections::floods::SECTION,
    sections::recoveries::SECTION,
    sections::past_reports::SECTION,
    sections::trends::SECTION,
    sections::next_quarter::SECTION,
    sections::lives::SECTION,
    sections::failure_rates::SECTION,
    sections::doubtful_failures::SECTION,
    sections::not_heard_of::SECTION,
    sections::data_in_full::SECTION,
    sections::method::SECTION,
    sections::glossary::SECTION,
];

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`, and appends what
/// it says to `risk_week`. `progress` hears what is being worked on.
pub async fn write(
    lake: &mut Lake,
    analysis: &Analysis,
    out: &Path,
    style: &ReportStyle,
    templates: &Templates,
    now: DateTime<Utc>,
    progress: &dyn Fn(&str),
) -> Result<Written, ReportError> {
    let reading = Reading {
        analysis,
        style,
        templates,
        about: &(),
        once: Default::default(),
    };
    let week = reading.week();
    let whole = section::make(SECTIONS, &reading, progress).await?;
    let title = format!("12 V battery risk, week {week}");
    let mut document = Document::of("report", title, analysis.as_of(), whole);
    progress("writing the histories of the first vehicles");
    let first = sections::ranking::first_vehicles(&reading).await?;
    let histories = stream::iter(first).map(|vehicle| {
        let vehicle = Named {
            vin: vehicle.vin,
            unit_no: vehicle.unit_no,
        };
        history::document(analysis, vehicle, templates, style)
    });
    document.beside = histories.buffered(section::AT_A_TIME).try_collect().await?;
    let written = document.write(&out.join(&week), style)?;
    shelf::renew(out)?;
    let ranking = sections::ranking::rows::as_ranked(&reading).await?;
    risk_week_append::append(lake, analysis, &week, &ranking, now)
        .await
        .map_err(|source| ReportError::NotKept {
            report: written.report.clone(),
            source: Box::new(source),
        })?;
    Ok(written)
}
