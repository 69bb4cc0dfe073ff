//! Floods of the supply that no battery test followed.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::{self, word_or_none};
use trade::derived_words::RecoveryStep;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for floods without a test",
    templates: &[("untested_floods.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let untested = untested(reading).await?;
    let proven_days = reading.analysis.settings().recovery.proven_days;
    let part = reading.part(
        "untested_floods.md",
        context! {
            untested => untested.iter().take(LIST_ROWS).map(|row| UntestedLine::new(row, proven_days, reading.style)).collect::<Vec<_>>(),
            all_untested => untested.len(),
        },
    )?;
    Ok(part.with_table(sheet(&untested, proven_days, reading.style)))
}

/// The vehicles that stand so, the longest first.
pub async fn untested(reading: &Reading<'_>) -> Result<Vec<Untested>, ReportError> {
    reading.rows(UNTESTED).await
}

const UNTESTED: &str = "
    SELECT vin, unit_no, depot, model, opened_on, opened_by, days_standing, next_step
    FROM recovery_case
    WHERE open AND opened_by = 'flood' AND supply_tested_on IS NULL
    ORDER BY days_standing DESC, vin, opened_on";

/// A flood of the supply that stands without a battery test.
#[derive(Debug, Deserialize)]
pub struct Untested {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub opened_on: String,
    pub days_standing: i64,
    #[serde(deserialize_with = "word_or_none")]
    pub next_step: Option<RecoveryStep>,
}

#[derive(Debug, Serialize)]
struct UntestedLine {
    unit: String,
    depot: Option<String>,
    model: Option<String>,
    opened_on: String,
    days_standing: i64,
    next_step: Option<String>,
}

impl UntestedLine {
    fn new(row: &Untested, proven_days: i64, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            model: row.model.clone(),
            opened_on: row.opened_on.clone(),
            days_standing: row.days_standing,
            next_step: row
                .next_step
                .map(|step| words::recovery::step(step, proven_days)),
        }
    }
}

fn sheet(rows: &[Untested], proven_days: i64, style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(
        style,
        |row: &Untested| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Untested| row.depot.clone()),
        column("model", Kind::Text, |row: &Untested| row.model.clone()),
        column("opened_on", Kind::Day, |row: &Untested| {
            row.opened_on.clone()
        }),
        column("days_standing", Kind::Integer, |row: &Untested| {
            row.days_standing
        }),
        column("next_step", Kind::Text, |row: &Untested| {
            row.next_step
                .map(|step| words::recovery::step(step, proven_days))
        }),
    ]);
    Sheet::new("floods-untested", rows, columns)
}
