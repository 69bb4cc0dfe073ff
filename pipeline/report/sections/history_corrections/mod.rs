//! Which facts of the vehicle a later load told otherwise.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::history::corrections;
use crate::history::record::{EVENTS, Record};

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_corrections.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let all = corrections::of(reading.analysis, &reading.about.vin, reading.style).await?;
    reading.part(
        "history_corrections.md",
        context! {
            corrections => &all[..all.len().min(EVENTS)],
            all_corrections => all.len(),
        },
    )
}
