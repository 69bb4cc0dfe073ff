//! Trouble put down to the traction battery, held against the 12 V supply.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::screen::judged::Judged;

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[("traction_or_supply.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let judged = reading.about;
    reading.part(
        "traction_or_supply.md",
        context! { vehicles => judged.answers.iter().filter(|answer| answer.vehicle.traction.is_some()).collect::<Vec<_>>() },
    )
}
