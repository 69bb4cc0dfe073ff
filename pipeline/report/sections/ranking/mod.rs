//! The batteries to see to first; the file has every battery in service.

pub mod lines;
pub mod rows;
mod sheet;

use minijinja::context;

use super::depots::room;
use super::{Part, Reading, Section};
use crate::ReportError;
use lines::{RankedLine, Trends};
use rows::RiskRow;

/// The section.
pub const SECTION: Section = Section {
    doing: "ranking the batteries",
    templates: &[("ranking.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Batteries in the first table.
const FIRST: usize = 10;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let trends = Trends::new(rows::healths(reading).await?);
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let first: Vec<RankedLine> = first_to_act_on(&ranking)
        .map(|row| RankedLine::new(row, None, &trends, reading.style))
        .collect();
    let part = reading.part("ranking.md", context! { first, batteries => ranking.len() })?;
    Ok(part.with_table(sheet::ranking(&ranking, &depots, &trends, reading.style)))
}

/// The batteries to see to first: those for this week by rank, then those to test.
fn first_to_act_on(ranking: &[RiskRow]) -> impl Iterator<Item = &RiskRow> {
    let of = |action: &'static str| ranking.iter().filter(move |row| row.action == action);
    of("this week").chain(of("test first")).take(FIRST)
}
