//! What the weekly reports said of its batteries.

use minijinja::context;

use super::{Part, Reading, Section, named};
use crate::ReportError;
use crate::chart::Chart;
use crate::history::pictures;
use crate::history::record::Record;
use crate::history::views::Risk;

/// Weeks of what reports told.
const WEEKS: usize = 12;

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_told.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let risks = &reading.about.risks;
    let horizon_days = reading.analysis.settings().run.horizon_days;
    let mut positions: Vec<&str> = risks.iter().map(|risk| risk.position.as_str()).collect();
    positions.dedup();
    let charts: Vec<Chart> = positions
        .iter()
        .filter_map(|position| {
            let its: Vec<&Risk> = risks
                .iter()
                .filter(|risk| risk.position == *position)
                .collect();
            pictures::risk(position, horizon_days, &its)
        })
        .collect();
    let mut newest: Vec<&Risk> = risks.iter().collect();
    newest.sort_by(|a, b| (&b.as_of, &a.position).cmp(&(&a.as_of, &b.position)));
    newest.truncate(WEEKS);
    let part = reading.part(
        "history_told.md",
        context! { risks => newest, risk_charts => named(&charts) },
    )?;
    Ok(part.with_charts(charts))
}
