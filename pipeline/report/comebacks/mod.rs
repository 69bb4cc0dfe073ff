//! The comebacks report, for the service manager: a list of sections.

use std::path::Path;

use super::ReportError;
use super::document::{Document, Written};
use super::section::{self, Reading, Section};
use super::sections;
use super::style::ReportStyle;
use super::templates::Templates;
use tables::Analysis;

/// The sections, as the reader meets them.
pub const SECTIONS: &[Section] = &[
    sections::comeback_opening::SECTION,
    sections::comeback_months::SECTION,
    sections::comeback_rates::SECTION,
    sections::repeat_vehicles::SECTION,
    sections::came_back::SECTION,
    sections::replaced_in_flood::SECTION,
    sections::untested_floods::SECTION,
    sections::cleared_unchecked::SECTION,
    sections::repeat_batteries::SECTION,
    sections::codes_that_stay::SECTION,
    sections::flood_oddities::SECTION,
    sections::comeback_method::SECTION,
];

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`. `progress` hears
/// what is being worked on.
pub async fn write(
    analysis: &Analysis,
    out: &Path,
    style: &ReportStyle,
    templates: &Templates,
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
    let title = format!("Comebacks, week {week}");
    Document::of("comebacks", title, analysis.as_of(), whole).write(&out.join(&week), style)
}
