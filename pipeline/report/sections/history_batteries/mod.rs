//! Every battery of the vehicle, and where the tests of those in service lead.

use minijinja::context;

use super::{Part, Reading, Section, named};
use crate::ReportError;
use crate::chart::Chart;
use crate::history::pictures;
use crate::history::record::Record;
use crate::history::views::Test;

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_batteries.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let record = reading.about;
    let in_service = record.batteries.iter().filter(|battery| battery.in_service);
    let capacity: Vec<Chart> = in_service
        .filter_map(|battery| {
            let its: Vec<&Test> = record
                .tests
                .iter()
                .filter(|test| {
                    test.position == battery.position && test.battery_no == Some(battery.battery_no)
                })
                .collect();
            pictures::capacity(
                reading.analysis.as_of(),
                reading.analysis.settings().test.worn_below,
                &battery.position,
                &its,
            )
        })
        .collect();
    let part = reading.part(
        "history_batteries.md",
        context! { batteries => record.batteries, capacity => named(&capacity) },
    )?;
    Ok(part.with_charts(capacity))
}
