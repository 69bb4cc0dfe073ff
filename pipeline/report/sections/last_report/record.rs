//! What earlier weeks said, held against what came: the failures every report expected, and the chances it told.

use serde::{Deserialize, Serialize};

use crate::chart::{self, Chart};
use statistics::rates::poisson_rate::garwood_limits;
use statistics::rates::wilson::wilson_limits;

pub const SINCE_LAST: &str = "
    SELECT * FROM last_report_outcome
    ORDER BY CASE action WHEN 'this week' THEN 0 WHEN 'test first' THEN 1 WHEN 'a later week' THEN 2 WHEN 'next service' THEN 3 ELSE 4 END";

/// What became of the batteries the last report told one thing about. Each has one end: failed,
/// replaced without that, left (the fleet, or the records), or still in service.
#[derive(Debug, Deserialize, Serialize)]
pub struct SinceLast {
    pub week: String,
    pub as_of: String,
    pub action: String,
    pub told: i64,
    pub failed_since: i64,
    pub replaced_since: i64,
    pub left_since: i64,
    pub tested_since: i64,
    pub now_this_week: i64,
    pub still_in_service: i64,
}

pub const WORTH: &str = "SELECT * FROM advice_worth";

/// What following the reports whose days are over was worth.
#[derive(Debug, Deserialize, Serialize)]
pub struct Worth {
    pub reports: i64,
    pub told: i64,
    pub seen_to: i64,
    /// Of those told of or in their place.
    pub failed: i64,
    /// Failures that would have come had none been seen to, with 95 % limits.
    pub failures_left_alone: f64,
    pub failures_left_alone_lower: f64,
    pub failures_left_alone_upper: f64,
    /// Money, with 95 % limits.
    pub spared: f64,
    pub spared_lower: f64,
    pub spared_upper: f64,
    pub spent: f64,
}

pub const PREDICTIONS: &str = "
    SELECT week, told_on, horizon_over, is_separate, told, expected, expected_in_first_20, failed, failed_in_first_20
    FROM prediction_record
    WHERE told_on < $as_of
    ORDER BY told_on DESC, week DESC, model_version";

/// A weekly run as it was told: the failures it expected and those that came.
#[derive(Debug, Deserialize)]
pub struct Prediction {
    pub week: String,
    pub told_on: String,
    pub horizon_over: bool,
    /// Whether what came may be counted with that of other such reports.
    pub is_separate: bool,
    pub told: i64,
    pub expected: f64,
    pub expected_in_first_20: f64,
    pub failed: i64,
    pub failed_in_first_20: i64,
}

/// Exact 95 % limits of the number that would be seen on average where so many were: "0.0–5.6".
fn limits(seen: i64) -> String {
    garwood_limits(seen.max(0) as u64, 0.95)
        .map(|limits| format!("{:.1}–{:.1}", limits.lower, limits.upper))
        .unwrap_or_default()
}

/// The reports whose days are over and overlap with no other's, together.
#[derive(Debug, Serialize)]
pub struct Record {
    pub reports: usize,
    pub expected: f64,
    pub came: i64,
    pub came_limits: String,
    pub expected_in_first_20: f64,
    pub in_first_20: i64,
    pub in_first_20_limits: String,
}

impl Record {
    /// None where the days of no report are over.
    pub fn of(rows: &[Prediction]) -> Option<Self> {
        let over: Vec<&Prediction> = rows.iter().filter(|row| row.is_separate).collect();
        let came = over.iter().map(|row| row.failed).sum();
        let in_first_20 = over.iter().map(|row| row.failed_in_first_20).sum();
        (!over.is_empty()).then(|| Self {
            reports: over.len(),
            expected: over.iter().map(|row| row.expected).sum(),
            came,
            came_limits: limits(came),
            expected_in_first_20: over.iter().map(|row| row.expected_in_first_20).sum(),
            in_first_20,
            in_first_20_limits: limits(in_first_20),
        })
    }
}

/// A run's line in the report.
#[derive(Debug, Serialize)]
pub struct PredictionLine {
    pub week: String,
    pub told_on: String,
    pub told: i64,
    pub expected: f64,
    pub failed: i64,
    /// 95 % limits of the number that would be seen on average where so many were.
    pub limits: String,
    pub expected_in_first_20: f64,
    pub failed_in_first_20: i64,
    pub state: &'static str,
}

impl PredictionLine {
    pub fn new(row: &Prediction) -> Self {
        Self {
            week: row.week.clone(),
            told_on: row.told_on.clone(),
            told: row.told,
            expected: row.expected,
            failed: row.failed,
            limits: limits(row.failed),
            expected_in_first_20: row.expected_in_first_20,
            failed_in_first_20: row.failed_in_first_20,
            state: match row.horizon_over {
                true => "over",
                false => "still running",
            },
        }
    }
}

pub const CHANCES_TOLD: &str = "SELECT * FROM chance_told ORDER BY band";

/// Predictions of about the same chance whose horizon is over.
#[derive(Debug, Deserialize)]
pub struct ChanceTold {
    pub told: f64,
    pub batteries: i64,
    pub failed: i64,
}

/// The chart of chances told against shares that failed; none before a horizon is over.
pub fn calibration_chart(rows: &[ChanceTold]) -> Option<Chart> {
    let groups: Vec<chart::ChanceBand> = rows
        .iter()
        .filter_map(|row| {
            let (failed, batteries) = (row.failed.max(0) as u64, row.batteries.max(0) as u64);
            let limits = wilson_limits(failed, batteries, 0.95).ok()?;
            Some(chart::ChanceBand {
                predicted: row.told,
                failed: failed as f64 / batteries as f64,
                lower: limits.lower,
                upper: limits.upper,
                batteries,
            })
        })
        .collect();
    chart::calibration("calibration", &groups)
}
