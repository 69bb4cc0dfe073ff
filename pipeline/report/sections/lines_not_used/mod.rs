//! Lines of the list that name no vehicle, or one that stands on an earlier line.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::screen::judged::Judged;

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[("lines_not_used.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let judged = reading.about;
    reading.part(
        "lines_not_used.md",
        context! { lines => judged.answers.iter().filter(|answer| !answer.is_vehicle).collect::<Vec<_>>() },
    )
}
