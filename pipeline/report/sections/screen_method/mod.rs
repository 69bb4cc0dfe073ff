//! How the screening was worked out, and what to mind.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::screen::judged::Judged;

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[("screen_method.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let judged = reading.about;
    reading.part(
        "screen_method.md",
        context! { known => judged.known, worn_share => judged.worn_share, coded_share => judged.coded_share },
    )
}
