//! The rows of the ranking: batteries in service with their chances and what to do about them.

use std::sync::Arc;

use serde::Deserialize;

use crate::ReportError;
use crate::sections::Reading;
use crate::style::Units;
use crate::words::reasons::{Call, Reason, Reasoned};

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
    /// The same, were failures to cost half or double.
    pub saving_failure_half: Option<f64>,
    pub saving_failure_double: Option<f64>,
    pub planned_cost: f64,
    pub action: String,
    /// What to do on which occasion, in which week from now, on which visit.
    pub advice: String,
    pub week: Option<i64>,
    pub visit_no: Option<i64>,
    pub special_visit: Option<bool>,
    /// The reading from which it is kept.
    pub keep_at: Option<f64>,
    pub waits: bool,
    pub reasons: Option<Vec<Reason>>,
    pub failed_until: Option<String>,
    #[serde(flatten)]
    pub call: Call,
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
            open_call: Some(&self.call),
        }
        .said(units)
    }

    /// Calling it in now would pay, but there is no room for it this week.
    pub fn waits(&self) -> bool {
        self.waits
    }
}

/// The ranking as the lake is told it.
pub async fn as_ranked(reading: &Reading<'_>) -> Result<Arc<Vec<RiskRow>>, ReportError> {
    let rows = || reading.rows(RANKING);
    reading.once.of("the ranking", rows).await
}

/// The ranking as the report shows it: what a person typed replaced, where the report is shared.
pub async fn ranking(reading: &Reading<'_>) -> Result<Arc<Vec<RiskRow>>, ReportError> {
    if !reading.style.shared() {
        return as_ranked(reading).await;
    }
    let shared = || async {
        let mut rows = as_ranked(reading).await?.to_vec();
        for row in &mut rows {
            row.position = reading.style.position(&row.position);
            if let Some(group) = &mut row.battery_group {
                *group = reading.style.battery_group(group);
            }
        }
        Ok(rows)
    };
    reading.once.of("the shared ranking", shared).await
}
