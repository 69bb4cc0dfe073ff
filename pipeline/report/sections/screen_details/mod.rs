//! Why each vehicle is judged so, and what is known of it.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::screen::judged::Judged;

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[("screen_details.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Vehicles of which the text tells every detail; the files have all.
const TOLD: usize = 40;

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let judged = reading.about;
    reading.part(
        "screen_details.md",
        context! { vehicles => judged.answers.iter().filter(|answer| answer.is_vehicle).take(TOLD).collect::<Vec<_>>(), all => judged.answers.iter().filter(|answer| answer.is_vehicle).count() },
    )
}
