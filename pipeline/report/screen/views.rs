//! The rows the screening reads, and the queries that give them.

use std::collections::BTreeMap;

use serde::Deserialize;

pub const VEHICLES: &str = "SELECT * FROM screening ORDER BY vin";

/// What is on record of one vehicle.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct Vehicle {
    pub vin: String,
    pub unit_no: Option<String>,
    pub make: Option<String>,
    pub model: Option<String>,
    pub model_year: Option<i64>,
    pub chemistry: Option<String>,
    pub evidence: Option<String>,
    pub uncertainty_days: Option<i64>,
    pub age_days: Option<f64>,
    /// Tests of any battery it had; those below are of the present one.
    pub tests_on_record: i64,
    pub tested_on: Option<String>,
    pub verdict: Option<String>,
    pub health: Option<f64>,
    pub test_is_stale: Option<bool>,
    pub chance: Option<f64>,
    pub scanned_on: Option<String>,
    pub scan_is_old: Option<bool>,
    pub codes: Option<i64>,
    pub permanent_codes: Option<i64>,
    pub monitors_ready: Option<i64>,
    pub monitors_supported: Option<i64>,
    pub warm_ups_since_clear: Option<i64>,
    pub km_since_clear: Option<f64>,
    pub cleared_shortly_before: Option<bool>,
    pub flood_on: Option<String>,
    pub flood_cause: Option<String>,
    pub flood_codes: Option<i64>,
    pub flood_modules: Option<i64>,
    pub flood_is_recent: Option<bool>,
    pub flood_is_proven: Option<bool>,
    pub latched_codes: i64,
    pub latched_example: Option<String>,
    pub codes_to_trace: i64,
    pub pending_codes: i64,
}

impl Vehicle {
    /// What kind of vehicle it is, as far as it is known.
    pub fn kind(&self) -> String {
        let year = self.model_year.map(|year| year.to_string());
        let words: Vec<&str> = [&year, &self.make, &self.model]
            .into_iter()
            .filter_map(|word| word.as_deref())
            .collect();
        words.join(" ")
    }

    /// The last test of the present battery, where it is recent enough to speak for the battery.
    pub fn verdict_now(&self) -> Option<&str> {
        match self.test_is_stale {
            Some(false) => self
                .verdict
                .as_deref()
                .filter(|verdict| *verdict != "untested"),
            _ => None,
        }
    }

    /// Whether it was tested, but only before its present battery came in.
    pub fn tested_before_only(&self) -> bool {
        self.tested_on.is_none() && self.tests_on_record > 0
    }
}

pub const PLANNED: &str = "
    SELECT vin, position, action, chance, planned_cost, replace_share, keep_at IS NOT NULL AS tested_first,
           failed_on IS NOT NULL AS failed
    FROM replacement_plan
    WHERE action IN ('this week', 'test first', 'a later week', 'next service') OR failed_on IS NOT NULL
    ORDER BY vin, position";

/// A battery that the weekly plan would replace, for sure or after a test.
#[derive(Debug, Clone, Deserialize)]
pub struct Planned {
    pub vin: String,
    pub position: String,
    pub action: String,
    pub chance: Option<f64>,
    pub planned_cost: f64,
    /// Of the answers that a test may give, ten equally likely ones, the share that have it replaced.
    pub replace_share: Option<f64>,
    pub tested_first: bool,
    pub failed: bool,
}

impl Planned {
    /// Whether it is replaced whatever a test says, and soon: no plan for a service to come is sure.
    pub fn is_sure(&self) -> bool {
        self.failed
            || (!self.tested_first && matches!(self.action.as_str(), "this week" | "a later week"))
    }

    /// The chance that it is replaced: of the ten answers, with half an answer added to each side
    /// (Jeffreys' prior), so that what hangs on a test or on a day to come is never certain.
    pub fn needed(&self) -> f64 {
        match (self.is_sure(), self.replace_share) {
            (true, _) => 1.0,
            (_, Some(share)) => (10.0 * share + 0.5) / 11.0,
            (_, None) => self.chance.unwrap_or(0.5),
        }
    }
}

pub const HINDSIGHT: &str = "SELECT finding, times, followed FROM hindsight ORDER BY finding";

#[derive(Debug, Deserialize)]
pub struct Followed {
    pub finding: String,
    pub times: i64,
    pub followed: i64,
}

/// How often costly work followed a finding in this lake.
#[derive(Debug, Default)]
pub struct Hindsight(BTreeMap<String, (i64, i64)>);

impl Hindsight {
    pub fn new(rows: Vec<Followed>) -> Self {
        Self(
            rows.into_iter()
                .map(|row| (row.finding, (row.times, row.followed)))
                .collect(),
        )
    }

    /// The share of times, with half a case added to each side (Jeffreys' prior), so that it is never
    /// certain; with how many times it rests on.
    pub fn share(&self, finding: &str) -> (f64, i64) {
        let (times, followed) = self.0.get(finding).copied().unwrap_or_default();
        ((followed as f64 + 0.5) / (times as f64 + 1.0), times)
    }
}

pub const TROUBLE: &str = "
    SELECT vin, opened_on, cause, bad_test, low_supply, supply_codes, many_silent
    FROM traction_sign ORDER BY vin, opened_on, cause";

pub const RECENT_TRACTION: &str = "
    SELECT vin, MAX(opened_on) AS opened_on FROM traction_sign
    WHERE cause = 'traction battery' AND days_between(opened_on, $as_of) <= $lookback_days
    GROUP BY vin ORDER BY vin";

/// The last time a vehicle's trouble was put down to the traction battery.
#[derive(Debug, Deserialize)]
pub struct RecentTraction {
    pub vin: String,
    pub opened_on: String,
}
