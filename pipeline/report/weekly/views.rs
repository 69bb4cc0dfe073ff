//! The rows the weekly report reads, and the queries that give them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::super::manner::{Manner, Units};
use super::super::words::evidence::Evidence;
use super::super::words::reasons::{Reason, Reasoned};
use super::super::words::recovery::Standing;
use super::super::words::{self, word};
use statistics::lives::weibull_law::Weibull;
use trade::derived_words::EstimateBasis;

pub const RANKING: &str = "
    SELECT *, COUNT(*) OVER (PARTITION BY vin) AS of_vehicle FROM replacement_plan ORDER BY rank";

/// A battery in service with its chance, what to do about it, what that is worth and why.
#[derive(Debug, Clone, Deserialize)]
pub struct RiskRow {
    pub rank: i64,
    pub vin: String,
    pub position: String,
    pub battery_no: i64,
    /// Batteries of the vehicle in service.
    pub of_vehicle: i64,
    pub unit_no: Option<String>,
    pub depot: String,
    pub make: Option<String>,
    pub model: Option<String>,
    pub powertrain: Option<String>,
    pub chemistry: Option<String>,
    pub battery_group: Option<String>,
    pub rating_value: Option<f64>,
    pub rating_standard: Option<String>,
    pub installed_on: String,
    pub evidence: String,
    pub uncertainty_days: i64,
    pub age_days: f64,
    pub tested_on: Option<String>,
    pub verdict: Option<String>,
    pub health: Option<f64>,
    pub rest_voltage_v: Option<f64>,
    pub health_per_year: Option<f64>,
    pub supply_floods: i64,
    pub last_flood_on: Option<String>,
    pub failed_on: Option<String>,
    pub chance: Option<f64>,
    pub chance_lower: Option<f64>,
    pub chance_upper: Option<f64>,
    /// Limits that add up over many batteries.
    pub chance_fit_lower: Option<f64>,
    pub chance_fit_upper: Option<f64>,
    pub saving: Option<f64>,
    pub planned_cost: f64,
    pub action: String,
    pub reasons: Option<Vec<Reason>>,
    pub failed_until: Option<String>,
    pub under_warranty: Option<bool>,
    pub model_version: String,
}

impl RiskRow {
    /// It is to be replaced, but its last test found it discharged, which is not worn.
    pub fn to_be_charged_first(&self) -> bool {
        self.action == "this week"
            && self.failed_on.is_none()
            && self.verdict.as_deref() == Some("discharged")
    }

    /// What battery it is: group, chemistry, and its position where the vehicle has another or it is
    /// not the main one.
    pub fn battery(&self) -> String {
        let mut words: Vec<&str> = Vec::new();
        words.extend(self.battery_group.as_deref());
        words.extend(self.chemistry.as_deref());
        if self.position != "main" || self.of_vehicle > 1 {
            words.push(&self.position);
        }
        words.join(" ")
    }

    /// Why its chance is what it is.
    pub fn why(&self, units: Units) -> String {
        Reasoned {
            reasons: self.reasons.as_deref(),
            position: &self.position,
            chemistry: self.chemistry.as_deref(),
            battery_group: self.battery_group.as_deref(),
            powertrain: self.powertrain.as_deref(),
            failed_on: self.failed_on.as_deref(),
            failed_until: self.failed_until.as_deref(),
        }
        .said(units)
    }

    /// Replacing it now would pay, but there is no room for it this week.
    pub fn waits(&self) -> bool {
        self.action == "next service" && self.saving.is_some_and(|saving| saving > 0.0)
    }
}

pub const HEALTHS: &str = "
    SELECT vin, position, battery_no, health
    FROM battery_condition
    WHERE health IS NOT NULL AND verdict <> 'discharged'
    ORDER BY vin, position, battery_no, tested_at, health";

/// The share of rated cranking ability that one test found.
#[derive(Debug, Deserialize)]
pub struct Health {
    pub vin: String,
    pub position: String,
    pub battery_no: i64,
    pub health: f64,
}

pub const PICK_LIST: &str = "
    SELECT depot, battery_group, chemistry, rating_standard, minimum_rating, batteries
    FROM pick_list
    ORDER BY batteries DESC, battery_group, chemistry, rating_standard, minimum_rating, depot";

/// Batteries of one kind that a depot needs.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Pick {
    pub depot: String,
    pub battery_group: Option<String>,
    pub chemistry: Option<String>,
    pub rating_standard: Option<String>,
    pub minimum_rating: Option<f64>,
    pub batteries: i64,
}

pub const TEST_NEXT: &str = "SELECT * FROM test_next ORDER BY rank";

/// A battery whose test may change what to do; it pays where that is worth more than the test costs.
#[derive(Debug, Deserialize)]
pub struct TestNext {
    pub rank: i64,
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub worth: f64,
    pub pays: bool,
    pub age_days: Option<f64>,
    pub days_since_health: Option<f64>,
    pub likely_lower: Option<f64>,
    pub likely_upper: Option<f64>,
}

impl TestNext {
    pub fn why(&self) -> String {
        words::test_answer::likely(
            self.days_since_health,
            self.age_days,
            self.likely_lower,
            self.likely_upper,
        )
    }
}

/// With few failures the limits are those of the profile likelihood, which lean to neither side; an
/// end that the data leave open is missing.
pub const LIFE_FITS: &str = "
    SELECT cohort_kind, cohort, fit['lives'] AS lives, fit['failures'] AS failures, fit['shape'] AS shape,
           CASE WHEN fit['failures'] < 30 THEN fit['shape_profile_lower'] ELSE fit['shape_lower'] END AS shape_lower,
           CASE WHEN fit['failures'] < 30 THEN fit['shape_profile_upper'] ELSE fit['shape_upper'] END AS shape_upper,
           fit['scale'] AS scale, fit['b10'] AS b10,
           CASE WHEN fit['failures'] < 30 THEN fit['b10_profile_lower'] ELSE fit['b10_lower'] END AS b10_lower,
           CASE WHEN fit['failures'] < 30 THEN fit['b10_profile_upper'] ELSE fit['b10_upper'] END AS b10_upper,
           fit['b50'] AS b50
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

pub const CURVES: &str = "
    SELECT cohort_kind, cohort, age_days, survival, lower, upper FROM life_curve
    ORDER BY cohort_kind DESC, cohort, age_days";

/// A step of a cohort's survival curve.
#[derive(Debug, Deserialize)]
pub struct CurveStep {
    pub cohort_kind: String,
    pub cohort: String,
    pub age_days: f64,
    pub survival: f64,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

pub const FLOODS_THIS_WEEK: &str = "
    SELECT f.*, v.unit_no, v.depot, CONCAT_WS(' ', v.make, v.model) AS model,
           CAST(f.started_at AS DATE) AS day
    FROM code_flood f LEFT JOIN fleet_vehicle v ON v.vin = f.vin
    WHERE days_between(CAST(f.started_at AS DATE), $as_of) BETWEEN 0 AND 6
    ORDER BY f.codes DESC, f.vin, f.started_at";

/// A flood of the last seven days.
#[derive(Debug, Deserialize)]
pub struct Flood {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub cause: String,
    pub evidence: Vec<Evidence>,
    pub p_value: Option<f64>,
}

impl Flood {
    pub fn because(&self) -> String {
        words::evidence::said(&self.evidence, self.codes)
    }
}

pub const RECOVERIES: &str = "
    SELECT r.*, v.unit_no, v.depot
    FROM recovery_step r LEFT JOIN fleet_vehicle v ON v.vin = r.vin
    ORDER BY r.days_standing, r.vin, r.opened_on";

/// How many recoveries were closed with nobody having settled them.
pub const NOT_FOLLOWED_UP: &str = "
    SELECT COUNT(*) AS recoveries FROM recovery_case WHERE ended = 'not followed up'";

#[derive(Debug, Deserialize)]
pub struct NotFollowedUp {
    pub recoveries: i64,
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

/// Those whose supply is not put right come first, the newest of a step first.
pub fn by_next_step(mut recoveries: Vec<Recovery>) -> Vec<Recovery> {
    recoveries.sort_by_key(|row| row.standing.next_step);
    recoveries
}

pub const RATES: &str = "
    SELECT cohort_kind, cohort, batteries, failures, battery_months, failures_per_1000_months,
           lower, upper, shrunk_rate, own_weight, expected_failures, ratio, ratio_lower, ratio_upper,
           ratio_adjusted_p, stands_out
    FROM failure_rate
    WHERE period = 'last 52 weeks'
      AND cohort_kind IN ('fleet', 'chemistry', 'battery group', 'powertrain', 'heat', 'depot', 'model')
    ORDER BY CASE cohort_kind WHEN 'fleet' THEN 0 WHEN 'chemistry' THEN 1 WHEN 'battery group' THEN 2
                              WHEN 'powertrain' THEN 3 WHEN 'heat' THEN 4 WHEN 'depot' THEN 5 ELSE 6 END,
             failures_per_1000_months DESC NULLS LAST, cohort";

/// A cohort's failure rate over the last 52 weeks.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Rate {
    pub cohort_kind: String,
    pub cohort: String,
    pub batteries: i64,
    pub failures: i64,
    pub battery_months: f64,
    pub failures_per_1000_months: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// Drawn towards those of its kind, so that a thin cohort does not top a table.
    pub shrunk_rate: Option<f64>,
    /// How much its own count says against the others of its kind; nought where the kind spreads no
    /// wider than chance.
    pub own_weight: Option<f64>,
    /// What the fleet's rates make of the ages of its batteries, and what came over that.
    pub expected_failures: Option<f64>,
    pub ratio: Option<f64>,
    pub ratio_lower: Option<f64>,
    pub ratio_upper: Option<f64>,
    pub ratio_adjusted_p: Option<f64>,
    pub stands_out: Option<bool>,
}

pub const DIFFERENCES: &str = "
    SELECT cohort_kind, cohorts, failures, adjusted_p FROM cohort_difference
    WHERE adjusted_p <= $cohort_false_share ORDER BY adjusted_p, cohort_kind";

/// A kind of cohort whose batteries fail at ages that differ beyond chance.
#[derive(Debug, Deserialize, Serialize)]
pub struct Difference {
    pub cohort_kind: String,
    pub cohorts: f64,
    pub failures: f64,
    pub adjusted_p: f64,
}

pub const CHANGES: &str = "
    SELECT vin, position, unit_no, depot, rank, action, rank_before, action_before, change
    FROM plan_change
    WHERE change IS NOT NULL
    ORDER BY CASE change WHEN 'ignored' THEN 0 WHEN 'new' THEN 1 WHEN 'moved' THEN 2 ELSE 3 END, rank, vin, position";

/// A battery whose place in the plan is not what the last report said.
#[derive(Debug, Deserialize)]
pub struct Change {
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub rank: i64,
    pub action: String,
    pub rank_before: Option<i64>,
    pub action_before: Option<String>,
    pub change: String,
}

pub const MODEL: &str = "
    SELECT * FROM model_summary";

/// What the chances rest on.
#[derive(Debug, Deserialize)]
pub struct Model {
    pub failures: f64,
    pub person_weeks: f64,
    pub prior_weight: Option<f64>,
    pub tests_fitted: Option<f64>,
    pub model_version: String,
    #[serde(deserialize_with = "word")]
    pub chances_rest_on: EstimateBasis,
    #[serde(deserialize_with = "word")]
    pub wear_rests_on: EstimateBasis,
}

/// The same for the text.
#[derive(Debug, Serialize)]
pub struct ModelLine<'a> {
    failures: f64,
    person_weeks: f64,
    prior_weight: Option<f64>,
    tests_fitted: Option<f64>,
    model_version: &'a str,
    notes: String,
}

impl<'a> ModelLine<'a> {
    pub fn new(row: &'a Model) -> Self {
        Self {
            failures: row.failures,
            person_weeks: row.person_weeks,
            prior_weight: row.prior_weight,
            tests_fitted: row.tests_fitted,
            model_version: &row.model_version,
            notes: words::model::basis(row.chances_rest_on, row.wear_rests_on),
        }
    }
}

pub const QUARANTINED: &str = "
    SELECT dump_kind, COALESCE(shop, 'not named') AS shop, COALESCE(field, 'the row') AS field, reason,
           COUNT(*) AS rows
    FROM quarantine GROUP BY dump_kind, COALESCE(shop, 'not named'), COALESCE(field, 'the row'), reason
    ORDER BY rows DESC, dump_kind, shop, field, reason";

/// Rows in quarantine for one reason.
#[derive(Debug, Deserialize, Serialize)]
pub struct Quarantined {
    pub dump_kind: String,
    pub shop: String,
    pub field: String,
    pub reason: String,
    pub rows: i64,
}

/// The same without the reasons' words, which may quote what stood in a row, and with shops replaced.
pub fn without_words(rows: Vec<Quarantined>, manner: &Manner) -> Vec<Quarantined> {
    let mut kinds: BTreeMap<(String, String, String), i64> = BTreeMap::new();
    for row in rows {
        *kinds
            .entry((row.dump_kind, manner.shop(&row.shop), row.field))
            .or_default() += row.rows;
    }
    let mut rows: Vec<Quarantined> = kinds
        .into_iter()
        .map(|((dump_kind, shop, field), rows)| Quarantined {
            reason: format!("{field} could not be used"),
            dump_kind,
            shop,
            field,
            rows,
        })
        .collect();
    // Equal counts stay in the order of their names.
    rows.sort_by_key(|row| std::cmp::Reverse(row.rows));
    rows
}

pub const EXTENTS: &str = "
    SELECT table_name, rows, first_day, last_day
    FROM table_extent WHERE table_name NOT IN ('risk_week', 'load_log') ORDER BY table_name";

/// How much of a table there is.
#[derive(Debug, Deserialize, Serialize)]
pub struct Extent {
    pub table_name: String,
    pub rows: i64,
    pub first_day: Option<String>,
    pub last_day: Option<String>,
}

pub const DEPOTS: &str = "
    SELECT v.depot, COUNT(DISTINCT v.vin) AS vehicles,
           SUM(CASE WHEN t.tested_on IS NULL OR days_between(t.tested_on, $as_of) > $test_stale_days THEN 1 ELSE 0 END) AS not_tested,
           MAX(t.tested_on) AS last_test_on,
           MAX(s.scanned_on) AS last_scan_on,
           MAX(o.opened_on) AS last_order_on,
           COALESCE(days_between(MAX(GREATEST(
               COALESCE(t.tested_on, CAST('1900-01-01' AS DATE)),
               COALESCE(s.scanned_on, CAST('1900-01-01' AS DATE)),
               COALESCE(o.opened_on, CAST('1900-01-01' AS DATE)))), $as_of), 0) > $silent_days AS silent
    FROM fleet_vehicle v
    LEFT JOIN (SELECT vin, MAX(CAST(tested_at AS DATE)) AS tested_on FROM battery_test GROUP BY vin) t ON t.vin = v.vin
    LEFT JOIN (SELECT vin, MAX(CAST(scanned_at AS DATE)) AS scanned_on FROM code_scan GROUP BY vin) s ON s.vin = v.vin
    LEFT JOIN (SELECT vin, MAX(CAST(opened_at AS DATE)) AS opened_on FROM work_order GROUP BY vin) o ON o.vin = v.vin
    WHERE v.gone_on IS NULL
    GROUP BY v.depot ORDER BY v.depot";

/// How far a depot's vehicles have been seen and tested.
#[derive(Debug, Deserialize, Serialize)]
pub struct DepotState {
    pub depot: String,
    pub vehicles: i64,
    pub not_tested: i64,
    pub last_test_on: Option<String>,
    pub last_scan_on: Option<String>,
    pub last_order_on: Option<String>,
    pub silent: bool,
}
