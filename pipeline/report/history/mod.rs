//! The history of one vehicle: its batteries, their tests with trend and forecast, scans, floods, work
//! orders, and what the weekly reports said of it: a list of sections.

pub mod against_last;
pub mod corrections;
pub mod events;
pub mod pictures;
pub mod record;
pub mod views;

use std::path::Path;

use super::ReportError;
use super::document::{Document, Written};
use super::section::{self, Reading, Section};
use super::sections;
use super::style::ReportStyle;
use super::templates::Templates;
use record::Record;
use tables::Analysis;
use views::Named;

/// The sections, as the reader meets them.
pub const SECTIONS: &[Section<Record>] = &[
    sections::history_opening::SECTION,
    sections::history_vehicle::SECTION,
    sections::history_now::SECTION,
    sections::history_batteries::SECTION,
    sections::history_told::SECTION,
    sections::history_corrections::SECTION,
    sections::history_events::SECTION,
];

/// Writes the history of the vehicle of that identification or unit number into
/// `out/history-NAME/`.
pub async fn write(
    analysis: &Analysis,
    name: &str,
    out: &Path,
    style: &ReportStyle,
    templates: &Templates,
) -> Result<Written, ReportError> {
    let vehicle = record::find(analysis, name).await?;
    let (folder, document) = document(analysis, vehicle, templates, style).await?;
    document.write(&out.join(folder), style)
}

/// The history of a vehicle and the name of its folder.
pub async fn document(
    analysis: &Analysis,
    vehicle: Named,
    templates: &Templates,
    style: &ReportStyle,
) -> Result<(String, Document), ReportError> {
    let record = Record::read(analysis, vehicle, style).await?;
    let reading = Reading {
        analysis,
        style,
        templates,
        about: &record,
        once: Default::default(),
    };
    let whole = section::make(SECTIONS, &reading, &|_| {}).await?;
    let title = format!("History of {}", record.called);
    let document = Document::of("history", title, analysis.as_of(), whole);
    Ok((sections::history_folder(&record.called), document))
}
