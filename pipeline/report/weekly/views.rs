//! The rows the weekly report reads, and the queries that give them.

use serde::{Deserialize, Serialize};

use crate::statistics::weibull::Weibull;

/// A battery in service with its chance, its reasons' numbers and its action.
#[derive(Debug, Clone, Deserialize)]
pub struct RiskRow {
    pub rank: i64,
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub chemistry: Option<String>,
    pub battery_group: Option<String>,
    pub age_days: f64,
    pub uncertainty_days: i64,
    pub fitted_to: String,
    pub tested_on: Option<String>,
    pub verdict: Option<String>,
    pub health: Option<f64>,
    pub rest_voltage_v: Option<f64>,
    pub band: String,
    pub test_ratio: f64,
    pub failed_on: Option<String>,
    pub health_per_year: Option<f64>,
    pub supply_floods: i64,
    pub last_flood_on: Option<String>,
    pub chance: Option<f64>,
    pub chance_lower: Option<f64>,
    pub chance_upper: Option<f64>,
    pub saving: Option<f64>,
    pub action: String,
}

impl RiskRow {
    /// What battery it is: group, chemistry, and its position where it is not the main one.
    pub fn battery(&self) -> String {
        let mut words: Vec<&str> = Vec::new();
        words.extend(self.battery_group.as_deref());
        words.extend(self.chemistry.as_deref());
        if self.position != "main" {
            words.push(&self.position);
        }
        words.join(" ")
    }
}

pub const LIFE_FITS: &str = "
    SELECT cohort_kind, cohort, fit['lives'] AS lives, fit['failures'] AS failures,
           fit['shape'] AS shape, fit['shape_lower'] AS shape_lower, fit['shape_upper'] AS shape_upper,
           fit['scale'] AS scale, fit['b10'] AS b10, fit['b10_lower'] AS b10_lower,
           fit['b10_upper'] AS b10_upper, fit['b50'] AS b50
    FROM life_fit ORDER BY cohort_kind DESC, cohort";

/// The Weibull fit of a cohort; estimates are missing where there was too little to fit.
#[derive(Debug, Deserialize, Serialize)]
pub struct LifeFit {
    pub cohort_kind: String,
    pub cohort: String,
    pub lives: f64,
    pub failures: f64,
    pub shape: Option<f64>,
    pub shape_lower: Option<f64>,
    pub shape_upper: Option<f64>,
    pub scale: Option<f64>,
    pub b10: Option<f64>,
    pub b10_lower: Option<f64>,
    pub b10_upper: Option<f64>,
    pub b50: Option<f64>,
}

impl LifeFit {
    /// The fitted law, ages in days.
    pub fn law(&self) -> Option<Weibull> {
        Some(Weibull {
            shape: self.shape?,
            scale: self.scale?,
        })
    }
}

pub const FLEET_CURVE: &str = "
    SELECT age_days, survival, lower, upper FROM life_curve WHERE cohort_kind = 'fleet'
    ORDER BY age_days";

/// A step of the fleet's survival curve.
#[derive(Debug, Deserialize)]
pub struct CurveStep {
    pub age_days: f64,
    pub survival: f64,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

pub const FLOODS_THIS_WEEK: &str = "
    SELECT f.vin, v.unit_no, v.depot, v.make || ' ' || v.model AS model,
           CAST(CAST(f.started_at AS DATE) AS VARCHAR) AS day, f.codes, f.modules,
           f.supply_codes, f.lost_codes, f.supply_voltage_v, f.cause
    FROM code_flood f JOIN fleet_vehicle v ON v.vin = f.vin
    WHERE days_between(CAST(f.started_at AS DATE), $as_of) BETWEEN 0 AND 6
    ORDER BY f.codes DESC, f.vin, f.started_at";

/// A flood of the last seven days.
#[derive(Debug, Deserialize, Serialize)]
pub struct Flood {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub model: Option<String>,
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_codes: i64,
    pub lost_codes: i64,
    pub supply_voltage_v: Option<f64>,
    pub cause: String,
}

pub const RATES: &str = "
    SELECT cohort_kind, cohort, batteries, failures, battery_months, failures_per_1000_months,
           lower, upper
    FROM failure_rate
    WHERE period = 'last 52 weeks' AND cohort_kind IN ('fleet', 'chemistry', 'powertrain', 'depot', 'model')
    ORDER BY CASE cohort_kind WHEN 'fleet' THEN 0 WHEN 'chemistry' THEN 1 WHEN 'powertrain' THEN 2
                              WHEN 'depot' THEN 3 ELSE 4 END,
             failures_per_1000_months DESC NULLS LAST, cohort";

/// A cohort's failure rate over the last 52 weeks.
#[derive(Debug, Deserialize, Serialize)]
pub struct Rate {
    pub cohort_kind: String,
    pub cohort: String,
    pub batteries: i64,
    pub failures: i64,
    pub battery_months: f64,
    pub failures_per_1000_months: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

pub const QUARANTINED: &str = "
    SELECT dump_kind, COALESCE(shop, 'not named') AS shop, reason, COUNT(*) AS rows
    FROM quarantine GROUP BY dump_kind, COALESCE(shop, 'not named'), reason
    ORDER BY rows DESC, dump_kind, shop, reason LIMIT 25";

/// Rows in quarantine for one reason.
#[derive(Debug, Deserialize, Serialize)]
pub struct Quarantined {
    pub dump_kind: String,
    pub shop: String,
    pub reason: String,
    pub rows: i64,
}

pub const EXTENTS: &str = "
    SELECT table_name, rows, CAST(first_day AS VARCHAR) AS first_day, CAST(last_day AS VARCHAR) AS last_day
    FROM table_extent WHERE table_name NOT IN ('risk_week', 'load_log') ORDER BY table_name";

/// How much of a table there is.
#[derive(Debug, Deserialize, Serialize)]
pub struct Extent {
    pub table_name: String,
    pub rows: i64,
    pub first_day: Option<String>,
    pub last_day: Option<String>,
}

pub const SILENT_DEPOTS: &str = "
    SELECT v.depot, COUNT(DISTINCT v.vin) AS vehicles,
           SUM(CASE WHEN t.tested_on IS NULL OR days_between(t.tested_on, $as_of) > $test_stale_days THEN 1 ELSE 0 END) AS not_tested,
           CAST(MAX(t.tested_on) AS VARCHAR) AS last_test_on
    FROM fleet_vehicle v
    LEFT JOIN (SELECT vin, MAX(CAST(tested_at AS DATE)) AS tested_on FROM battery_test GROUP BY vin) t ON t.vin = v.vin
    WHERE v.left_fleet_date IS NULL
    GROUP BY v.depot ORDER BY v.depot";

/// How far a depot's batteries have been tested.
#[derive(Debug, Deserialize, Serialize)]
pub struct SilentDepot {
    pub depot: String,
    pub vehicles: i64,
    pub not_tested: i64,
    pub last_test_on: Option<String>,
}
