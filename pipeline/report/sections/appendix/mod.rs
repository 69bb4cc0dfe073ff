//! Where the report to be read ends and what is looked up begins.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;

/// The section.
pub const SECTION: Section = Section {
    doing: "writing the report",
    templates: &[("appendix.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    reading.part("appendix.md", context! {})
}
