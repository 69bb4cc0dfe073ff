//! What became of what earlier reports said.

pub mod changes;
pub mod record;

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use changes::Change;
use record::{Prediction, PredictionLine, SinceLast, Worth};

/// The section.
pub const SECTION: Section = Section {
    doing: "holding earlier reports against what came",
    templates: &[("last_report.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Reports whose predictions are told here; the appendix has all.
const REPORTS: usize = 4;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let since_last: Vec<SinceLast> = reading.rows(record::SINCE_LAST).await?;
    let changes: Vec<Change> = reading.rows(changes::CHANGES).await?;
    let predictions = predictions(reading).await?;
    let worth: Vec<Worth> = reading.rows(record::WORTH).await?;
    reading.part(
        "last_report.md",
        context! {
            worth => worth.first(),
            since_last,
            change_counts => changes::by_change(&changes),
            predictions => predictions
                .iter()
                .take(REPORTS)
                .map(PredictionLine::new)
                .collect::<Vec<_>>(),
        },
    )
}

/// What each earlier report expected and what came.
pub async fn predictions(reading: &Reading<'_>) -> Result<Vec<Prediction>, ReportError> {
    reading.rows(record::PREDICTIONS).await
}
