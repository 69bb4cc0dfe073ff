//! What is to be done about its batteries now, and which of its recoveries stand open.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::history::against_last::against_last;
use crate::history::record::Record;

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_now.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let record = reading.about;
    let proven_days = reading.analysis.settings().recovery.proven_days;
    let now: Vec<_> = record
        .now
        .iter()
        .map(|row| {
            context! {
                position => row.position, rank => row.rank, action => row.action,
                chance => row.chance, chance_lower => row.chance_lower, chance_upper => row.chance_upper,
                reasons => row.why(reading.style.units),
                before => against_last(row, &record.risks, &record.events, &reading.week(), reading.style.shared()),
            }
        })
        .collect();
    let recoveries: Vec<_> = record
        .open_recoveries()
        .map(|case| {
            context! {
                opened_on => case.opened_on, opened_by => case.opened_by, days_standing => case.days_standing,
                next_step => case.standing.to_do(proven_days),
                caution => case.standing.caution(),
            }
        })
        .collect();
    reading.part("history_now.md", context! { now, recoveries })
}
