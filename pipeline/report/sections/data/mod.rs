//! The data behind a report, in a few lines: how much and how new, which depots are silent, what could not
//! be used.

use minijinja::context;

use super::data_in_full::{DEPOTS, DepotState, EXTENTS, Extent, QUARANTINED, Quarantined};
use super::{Part, Reading, Section};
use crate::ReportError;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking at the data",
    templates: &[("data.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let extents: Vec<Extent> = reading.rows(EXTENTS).await?;
    let facts = || extents.iter().filter(|extent| extent.first_day.is_some());
    let depots: Vec<DepotState> = reading.rows(DEPOTS).await?;
    let quarantined: Vec<Quarantined> = reading.rows(QUARANTINED).await?;
    let silent: Vec<&str> = depots
        .iter()
        .filter(|depot| depot.silent)
        .map(|depot| depot.depot.as_str())
        .collect();
    reading.part(
        "data.md",
        context! {
            rows => facts().map(|extent| extent.rows).sum::<i64>(),
            newest => facts().filter_map(|extent| extent.last_day.as_deref()).max(),
            depots => depots.len(),
            silent,
            vehicles => depots.iter().map(|depot| depot.vehicles).sum::<i64>(),
            not_tested => depots.iter().map(|depot| depot.not_tested).sum::<i64>(),
            quarantined => quarantined.iter().map(|row| row.rows).sum::<i64>(),
            reasons => quarantined.len(),
        },
    )
}
