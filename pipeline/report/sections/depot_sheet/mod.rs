//! A sheet to print for each depot: this week's visits in the order to make them, one page a depot
//! where it can be.

mod visits;

use minijinja::context;

use super::ranking::rows;
use super::{Part, Reading, Section, recoveries};
use crate::ReportError;
use crate::page::Paper;
use crate::section::Page;

/// The section.
pub const SECTION: Section = Section {
    doing: "writing the depots' sheets",
    templates: &[
        ("depot_sheet.md", include_str!("section.md")),
        ("depot_sheet-page.md", include_str!("page.md")),
    ],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let recoveries = recoveries::recoveries(reading).await?;
    let proven_days = reading.analysis.settings().recovery.proven_days;
    let jobs = visits::jobs(&ranking, &recoveries, proven_days, reading.style);
    let depots: Vec<_> = jobs
        .chunk_by(|a, b| a.depot == b.depot)
        .map(|jobs| {
            context! {
                depot => jobs[0].depot,
                visits => jobs.iter().map(|job| job.visit).max(),
                high_voltage => jobs.iter().any(|job| job.high_voltage),
                jobs,
            }
        })
        .collect();
    let page = Page {
        name: "depot_sheets",
        title: format!("Depot sheets, week {}", reading.week()),
        markdown: reading.text("depot_sheet-page.md", context! { depots => depots.clone() })?,
        paper: Paper::Across,
    };
    let part = reading.part("depot_sheet.md", context! { depots })?;
    Ok(part.with_table(visits::sheet(&jobs)).with_page(page))
}
