//! The name of the vehicle and its history in a few lines.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::history::record::Record;

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_opening.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let record = reading.about;
    let short_version = short_version(reading);
    let part = reading.part(
        "history_opening.md",
        context! {
            called => record.called,
            vin => reading.style.vin(&record.vin),
            short_version,
        },
    )?;
    Ok(part.with_short_version(short_version))
}

fn short_version(reading: &Reading<'_, Record>) -> Vec<String> {
    let (record, units) = (reading.about, reading.style.units);
    let called = &record.called;
    let mut lines: Vec<String> = record
        .now
        .iter()
        .map(|row| {
            format!(
                "{called}, {} battery: {} ({}).",
                row.position,
                row.action,
                row.why(units)
            )
        })
        .collect();
    if lines.is_empty() {
        lines.push(format!("{called}: no battery is known to be in service."));
    }
    let proven_days = reading.analysis.settings().recovery.proven_days;
    lines.extend(record.open_recoveries().map(|case| {
        format!(
            "A recovery stands open since {}: {}.",
            case.opened_on,
            case.standing
                .to_do(proven_days)
                .as_deref()
                .unwrap_or("next step not known")
        )
    }));
    if let Some(last) = record.events.first() {
        lines.push(format!(
            "{} things are on record, the last on {}: {}.",
            record.events.len(),
            last.day,
            last.what
        ));
    }
    lines
}
