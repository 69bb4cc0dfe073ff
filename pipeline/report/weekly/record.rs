//! What earlier weeks said, held against what came: the last report's list, the failures every report
//! expected, and the chances it told.

use serde::{Deserialize, Serialize};

use super::super::chart::{self, Chart};
use statistics::rates::poisson_rate::garwood_limits;
use statistics::rates::wilson::wilson_limits;

pub const SINCE_LAST: &str = "
    WITH last_run AS (
        SELECT MAX(as_of) AS as_of FROM risk_week
        WHERE as_of < CAST(date_trunc('week', CAST($as_of AS TIMESTAMP)) AS DATE)
    ),
    told AS (
        SELECT r.*, ROW_NUMBER() OVER (PARTITION BY r.vin, r.position ORDER BY r.load_id DESC) AS recency
        FROM risk_week r JOIN last_run l ON l.as_of = r.as_of
    )
    SELECT t.week, t.as_of, t.action, COUNT(*) AS told,
           SUM(CASE WHEN l.failed_on > t.as_of THEN 1 ELSE 0 END) AS failed_since,
           SUM(CASE WHEN l.failed_on > t.as_of THEN 0 WHEN l.replaced_on IS NOT NULL THEN 1 ELSE 0 END) AS replaced_since,
           SUM(CASE WHEN l.failed_on > t.as_of OR l.replaced_on IS NOT NULL THEN 0
                    WHEN l.vin IS NULL OR l.gone_on IS NOT NULL THEN 1 ELSE 0 END) AS left_since,
           SUM(CASE WHEN l.failed_on > t.as_of OR l.replaced_on IS NOT NULL THEN 0
                    WHEN l.vin IS NULL OR l.gone_on IS NOT NULL THEN 0 ELSE 1 END) AS still_in_service,
           SUM(CASE WHEN c.tested_on IS NOT NULL THEN 1 ELSE 0 END) AS tested_since,
           SUM(CASE WHEN p.action = 'this week' THEN 1 ELSE 0 END) AS now_this_week
    FROM told t
    LEFT JOIN battery_life l ON l.vin = t.vin AND l.position = t.position
     AND l.installed_on <= t.as_of AND (l.replaced_on IS NULL OR l.replaced_on > t.as_of)
    LEFT JOIN (SELECT vin, position, battery_no, MAX(tested_on) AS tested_on FROM battery_condition
               GROUP BY vin, position, battery_no) c
      ON c.vin = l.vin AND c.position = l.position AND c.battery_no = l.battery_no AND c.tested_on > t.as_of
    LEFT JOIN replacement_plan p ON p.vin = l.vin AND p.position = l.position AND p.battery_no = l.battery_no
    WHERE t.recency = 1
    GROUP BY t.week, t.as_of, t.action
    ORDER BY CASE t.action WHEN 'this week' THEN 0 WHEN 'test first' THEN 1 WHEN 'next service' THEN 2 ELSE 3 END";

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

pub const PREDICTIONS: &str = "
    SELECT week, told_on, horizon_over, told, expected, failed, failed_in_first_20
    FROM prediction_record
    WHERE told_on < $as_of
    ORDER BY told_on DESC, week DESC, model_version LIMIT 12";

/// A weekly run as it was told: the failures it expected and those that came.
#[derive(Debug, Deserialize)]
pub struct Prediction {
    pub week: String,
    pub told_on: String,
    pub horizon_over: bool,
    pub told: i64,
    pub expected: f64,
    pub failed: i64,
    pub failed_in_first_20: i64,
}

/// The reports whose days are over, together.
#[derive(Debug, Serialize)]
pub struct Record {
    pub reports: usize,
    pub expected: f64,
    pub came: i64,
    pub in_first_20: i64,
}

impl Record {
    /// None where the days of no report are over.
    pub fn of(rows: &[Prediction]) -> Option<Self> {
        let over: Vec<&Prediction> = rows.iter().filter(|row| row.horizon_over).collect();
        (!over.is_empty()).then(|| Self {
            reports: over.len(),
            expected: over.iter().map(|row| row.expected).sum(),
            came: over.iter().map(|row| row.failed).sum(),
            in_first_20: over.iter().map(|row| row.failed_in_first_20).sum(),
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
    pub failed_in_first_20: i64,
    pub state: &'static str,
}

impl PredictionLine {
    pub fn new(row: &Prediction) -> Self {
        let limits = garwood_limits(row.failed.max(0) as u64, 0.95)
            .map(|limits| format!("{:.1}–{:.1}", limits.lower, limits.upper))
            .unwrap_or_default();
        Self {
            week: row.week.clone(),
            told_on: row.told_on.clone(),
            told: row.told,
            expected: row.expected,
            failed: row.failed,
            limits,
            failed_in_first_20: row.failed_in_first_20,
            state: match row.horizon_over {
                true => "over",
                false => "still running",
            },
        }
    }
}

pub const CHANCES_TOLD: &str = "
    WITH told AS (
        SELECT r.chance, l.failed AND days_between(r.as_of, l.exited_on) <= r.horizon_days AS failed_then,
               ROW_NUMBER() OVER (PARTITION BY r.week, r.vin, r.position ORDER BY r.as_of DESC, r.load_id DESC) AS recency
        FROM risk_week r
        JOIN battery_life l ON l.vin = r.vin AND l.position = r.position
         AND l.installed_on <= r.as_of AND l.exited_on > r.as_of
        WHERE days_between(r.as_of, $as_of) >= r.horizon_days
          AND (l.failed OR days_between(r.as_of, l.exited_on) >= r.horizon_days)
    )
    SELECT CASE WHEN chance < 0.005 THEN 0 WHEN chance < 0.01 THEN 1 WHEN chance < 0.02 THEN 2
                WHEN chance < 0.05 THEN 3 WHEN chance < 0.1 THEN 4 WHEN chance < 0.2 THEN 5 ELSE 6 END AS band,
           AVG(chance) AS told, COUNT(*) AS batteries,
           SUM(CASE WHEN failed_then THEN 1 ELSE 0 END) AS failed
    FROM told WHERE recency = 1
    GROUP BY 1 HAVING COUNT(*) >= 10 ORDER BY 1";

/// Predictions of about the same chance whose horizon is over.
#[derive(Debug, Deserialize)]
pub struct ChanceTold {
    pub told: f64,
    pub batteries: i64,
    pub failed: i64,
}

/// The chart of chances told against shares that failed; none before a horizon is over.
pub fn calibration_chart(rows: &[ChanceTold]) -> Option<Chart> {
    let groups: Vec<chart::Told> = rows
        .iter()
        .filter_map(|row| {
            let (failed, batteries) = (row.failed.max(0) as u64, row.batteries.max(0) as u64);
            let limits = wilson_limits(failed, batteries, 0.95).ok()?;
            Some(chart::Told {
                told: row.told,
                failed: failed as f64 / batteries as f64,
                lower: limits.lower,
                upper: limits.upper,
                batteries,
            })
        })
        .collect();
    chart::calibration("calibration", &groups)
}
