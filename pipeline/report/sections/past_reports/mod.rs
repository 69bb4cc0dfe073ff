//! What changed since the last report, battery by battery, and how every earlier report's chances fared.

use minijinja::context;

use super::last_report::changes::{self, Change, ChangeLine};
use super::last_report::predictions;
use super::last_report::record::{self, ChanceTold, PredictionLine};
use super::{Part, Reading, Section};
use crate::ReportError;

/// The section.
pub const SECTION: Section = Section {
    doing: "holding earlier reports against what came",
    templates: &[("past_reports.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Reports that the table shows.
const REPORTS: usize = 12;

/// Rows of each kind of change.
const CHANGE_ROWS: usize = 8;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let mut changes: Vec<Change> = reading.rows(changes::CHANGES).await?;
    for row in &mut changes {
        row.position = reading.style.position(&row.position);
    }
    let predictions = predictions(reading).await?;
    let chances: Vec<ChanceTold> = reading.rows(record::CHANCES_TOLD).await?;
    let calibration = record::calibration_chart(&chances);
    let part = reading.part(
        "past_reports.md",
        context! {
            changes => changes
                .chunk_by(|a, b| a.change == b.change)
                .flat_map(|kind| kind.iter().take(CHANGE_ROWS))
                .map(|row| ChangeLine::new(row, reading.style))
                .collect::<Vec<_>>(),
            change_rows => CHANGE_ROWS,
            all_changes => changes.len(),
            predictions => predictions.iter().take(REPORTS).map(PredictionLine::new).collect::<Vec<_>>(),
            calibration => super::named(calibration.as_slice()),
            told_in_calibration => chances.iter().map(|row| row.batteries).sum::<i64>(),
        },
    )?;
    Ok(part
        .with_charts(calibration)
        .with_table(changes::sheet(&changes, reading.style)))
}
