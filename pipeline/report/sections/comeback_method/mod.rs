//! How the comebacks report was worked out.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;

/// The section.
pub const SECTION: Section = Section {
    doing: "writing the report",
    templates: &[("comeback_method.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    reading.part("comeback_method.md", context! {})
}
