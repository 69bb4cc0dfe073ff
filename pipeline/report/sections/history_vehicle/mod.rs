//! What the register says of the vehicle, and all that is on record of it as one picture.

use minijinja::context;

use super::{Part, Reading, Section, named};
use crate::ReportError;
use crate::history::pictures;
use crate::history::record::Record;

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_vehicle.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let record = reading.about;
    let timeline = pictures::timeline(
        reading.analysis.as_of(),
        &record.batteries,
        &record.tests,
        &record.sessions,
        &record.orders,
    );
    let part = reading.part(
        "history_vehicle.md",
        context! {
            register => record.register,
            timeline => named(timeline.as_slice()),
        },
    )?;
    Ok(part.with_charts(timeline))
}
