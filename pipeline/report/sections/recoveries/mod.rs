//! The recoveries that stand open, with their next steps.

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::{self, recovery::Standing};
use trade::derived_words::RecoveryStep;
use trade::words::Action;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for open recoveries",
    templates: &[("recoveries.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let recoveries = recoveries(reading).await?;
    let proven_days = reading.analysis.settings().recovery.proven_days;
    let unsettled: Vec<NotFollowedUp> = reading.rows(NOT_FOLLOWED_UP).await?;
    let part = reading.part(
        "recoveries.md",
        context! {
            recoveries => recoveries.iter().take(LIST_ROWS).map(|row| RecoveryLine::new(row, proven_days, reading.style)).collect::<Vec<_>>(),
            all_recoveries => recoveries.len(),
            not_followed_up => unsettled.first().map_or(0, |row| row.recoveries),
            recovery_steps => by_step(&recoveries, proven_days),
            recoveries_planned => recoveries.iter().filter(|row| row.standing.planned.is_some()).count(),
        },
    )?;
    Ok(part.with_table(sheet(&recoveries, proven_days, reading.style)))
}

/// The open recoveries; those whose supply is not put right come first, the newest of a step first.
pub async fn recoveries(reading: &Reading<'_>) -> Result<Vec<Recovery>, ReportError> {
    let mut recoveries: Vec<Recovery> = reading.rows(RECOVERIES).await?;
    recoveries.sort_by_key(|row| row.standing.next_step);
    for row in &mut recoveries {
        row.standing.replace_positions(reading.style);
    }
    Ok(recoveries)
}

pub const RECOVERIES: &str = "
    SELECT r.*, v.unit_no, v.depot
    FROM recovery_step r LEFT JOIN fleet_vehicle v ON v.vin = r.vin
    ORDER BY r.days_standing, r.vin, r.opened_on";

/// How many recoveries were closed with nobody having settled them.
const NOT_FOLLOWED_UP: &str = "
    SELECT COUNT(*) AS recoveries FROM recovery_case WHERE ended = 'not followed up'";

#[derive(Debug, Deserialize)]
struct NotFollowedUp {
    recoveries: i64,
}

/// A recovery that is not proven yet.
#[derive(Debug, Deserialize)]
pub struct Recovery {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub opened_on: String,
    pub opened_by: String,
    pub days_standing: i64,
    #[serde(flatten)]
    pub standing: Standing,
}

/// A recovery that stands open.
#[derive(Debug, Serialize)]
pub struct RecoveryLine {
    pub unit: String,
    pub depot: Option<String>,
    pub opened_on: String,
    pub opened_by: String,
    pub days_standing: i64,
    pub next_step: String,
    pub caution: String,
}

impl RecoveryLine {
    pub fn new(row: &Recovery, proven_days: i64, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            opened_on: row.opened_on.clone(),
            opened_by: row.opened_by.clone(),
            days_standing: row.days_standing,
            next_step: row.standing.to_do(proven_days).unwrap_or_default(),
            caution: row.standing.caution(),
        }
    }
}

/// How many recoveries wait for what, in the order of the steps: "6 for the supply to be restored".
pub fn by_step(recoveries: &[Recovery], proven_days: i64) -> Vec<String> {
    let mut steps: BTreeMap<RecoveryStep, usize> = BTreeMap::new();
    for step in recoveries.iter().filter_map(|row| row.standing.next_step) {
        *steps.entry(step).or_default() += 1;
    }
    steps
        .into_iter()
        .map(|(step, times)| words::recovery::waiting_for(step, times, proven_days))
        .collect()
}

/// The recoveries that stand open.
fn sheet(rows: &[Recovery], proven_days: i64, style: &ReportStyle) -> Sheet {
    Sheet::new(
        "recoveries",
        rows,
        vec![
            column("vin", Kind::Text, |row: &Recovery| style.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Recovery| {
                row.unit_no.as_deref().map(|unit| style.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Recovery| row.depot.clone()),
            column("opened_on", Kind::Day, |row: &Recovery| {
                row.opened_on.clone()
            }),
            column("opened_by", Kind::Text, |row: &Recovery| {
                row.opened_by.clone()
            }),
            column("days_standing", Kind::Integer, |row: &Recovery| {
                row.days_standing
            }),
            column("planned", Kind::Text, |row: &Recovery| {
                row.standing.planned.map(Action::as_str)
            }),
            column("next_step", Kind::Text, |row: &Recovery| {
                row.standing.to_do(proven_days)
            }),
            column("caution", Kind::Text, |row: &Recovery| {
                Some(row.standing.caution()).filter(|caution| !caution.is_empty())
            }),
        ],
    )
}
