//! The rows a vehicle's history reads, and the queries that give them. `$vin` is the vehicle.

use serde::{Deserialize, Serialize};

use super::super::style::Units;
use super::super::words::reasons::{Call, Reason, Reasoned};
use super::super::words::recovery::Standing;

pub const VEHICLES: &str = "
    SELECT vin, unit_no FROM fleet_vehicle
    UNION SELECT vin, CAST(NULL AS VARCHAR) FROM (
        SELECT vin FROM battery_test UNION SELECT vin FROM code_scan UNION SELECT vin FROM work_order
    ) known LEFT ANTI JOIN fleet_vehicle v ON v.vin = known.vin
    ORDER BY vin";

/// A vehicle by its two names.
#[derive(Debug, Deserialize)]
pub struct Named {
    pub vin: String,
    pub unit_no: Option<String>,
}

pub const REGISTER: &str = "
    SELECT depot, make, model, model_year, powertrain, in_service_date, left_fleet_date, odometer_km,
           battery_group, chemistry, rating_value, rating_standard, last_seen_on
    FROM fleet_vehicle WHERE vin = $vin";

/// The vehicle as the register last showed it.
#[derive(Debug, Deserialize, Serialize)]
pub struct Register {
    pub depot: String,
    pub make: Option<String>,
    pub model: Option<String>,
    pub model_year: Option<i64>,
    pub powertrain: Option<String>,
    pub in_service_date: String,
    pub left_fleet_date: Option<String>,
    pub odometer_km: Option<f64>,
    pub battery_group: Option<String>,
    pub chemistry: Option<String>,
    pub rating_value: Option<f64>,
    pub rating_standard: Option<String>,
    pub last_seen_on: String,
}

pub const BATTERIES: &str = "
    SELECT position, battery_no, installed_on, evidence, uncertainty_days, failed_on, replaced_on,
           outcome, in_service, exited_on, exit_age_days
    FROM battery_life WHERE vin = $vin ORDER BY position, battery_no";

/// A battery of the vehicle.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Battery {
    pub position: String,
    pub battery_no: i64,
    pub installed_on: String,
    pub evidence: String,
    pub uncertainty_days: i64,
    pub failed_on: Option<String>,
    pub replaced_on: Option<String>,
    pub outcome: String,
    pub in_service: bool,
    pub exited_on: String,
    pub exit_age_days: f64,
}

pub const TESTS: &str = "
    SELECT t.tested_on, t.position, t.verdict, t.rule, t.health, t.rest_voltage_v, t.temperature_c,
           t.measured_value, t.measured_kind, t.shop, c.battery_no
    FROM test_verdict t
    LEFT JOIN battery_condition c ON c.vin = t.vin AND c.position = t.position AND c.tested_at = t.tested_at
     AND c.verdict = t.verdict AND COALESCE(c.health, -1) = COALESCE(t.health, -1)
    WHERE t.vin = $vin
    ORDER BY t.tested_at, t.position, t.health, t.rest_voltage_v";

/// A test of one of its batteries.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Test {
    pub tested_on: String,
    pub position: String,
    pub verdict: String,
    pub rule: Option<String>,
    pub health: Option<f64>,
    pub rest_voltage_v: Option<f64>,
    pub temperature_c: Option<f64>,
    pub measured_value: Option<f64>,
    pub measured_kind: Option<String>,
    pub shop: Option<String>,
    pub battery_no: Option<i64>,
}

pub const SESSIONS: &str = "
    SELECT CAST(s.started_at AS DATE) AS day, s.codes, s.modules, s.supply_voltage_v, s.odometer_km, s.shop,
           f.cause AS flood_cause
    FROM code_session s
    LEFT JOIN code_flood f ON f.vin = s.vin AND f.session_no = s.session_no
    WHERE s.vin = $vin
    ORDER BY s.started_at";

/// Scans of one visit; a flood where it was one.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Session {
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub odometer_km: Option<f64>,
    pub shop: Option<String>,
    pub flood_cause: Option<String>,
}

pub const ORDERS: &str = "
    SELECT CAST(opened_at AS DATE) AS day, order_no, operation, cause, complaint, shop, technician,
           position, module_address, parts_cost
    FROM work_order WHERE vin = $vin
    ORDER BY opened_at, order_no, operation, module_address";

/// An operation on a work order.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Order {
    pub day: String,
    pub order_no: String,
    pub operation: String,
    pub cause: Option<String>,
    pub complaint: Option<String>,
    pub shop: Option<String>,
    pub technician: Option<String>,
    pub position: Option<String>,
    pub module_address: Option<String>,
    pub parts_cost: Option<f64>,
}

pub const RISKS: &str = "
    SELECT week, as_of, position, chance, chance_lower, chance_upper, rank, action, reasons
    FROM (SELECT *, ROW_NUMBER() OVER (PARTITION BY week, position ORDER BY as_of DESC, load_id DESC) AS recency
          FROM risk_week WHERE vin = $vin AND as_of < $as_of)
    WHERE recency = 1
    ORDER BY position, as_of, week";

/// What one weekly report said of one of its batteries.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Risk {
    pub week: String,
    pub as_of: String,
    pub position: String,
    pub chance: f64,
    pub chance_lower: f64,
    pub chance_upper: f64,
    pub rank: i64,
    pub action: String,
    pub reasons: Option<String>,
}

pub const NOW: &str = "
    SELECT position, rank, chance, chance_lower, chance_upper, action, reasons,
           chemistry, battery_group, powertrain, failed_on, failed_until,
           called_on, since_call, calls_alike, calls_proved
    FROM replacement_plan WHERE vin = $vin ORDER BY position";

/// What is to be done about a battery now.
#[derive(Debug, Clone, Deserialize)]
pub struct Now {
    pub position: String,
    pub rank: i64,
    pub chance: Option<f64>,
    pub chance_lower: Option<f64>,
    pub chance_upper: Option<f64>,
    pub action: String,
    pub reasons: Option<Vec<Reason>>,
    pub chemistry: Option<String>,
    pub battery_group: Option<String>,
    pub powertrain: Option<String>,
    pub failed_on: Option<String>,
    pub failed_until: Option<String>,
    #[serde(flatten)]
    pub call: Call,
}

impl Now {
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
}

pub const RECOVERIES: &str = "
    SELECT r.*, s.planned, s.planned_for
    FROM recovery_case r LEFT JOIN recovery_step s ON s.vin = r.vin AND s.case_no = r.case_no
    WHERE r.vin = $vin ORDER BY r.opened_on";

/// A recovery of the vehicle.
#[derive(Debug, Clone, Deserialize)]
pub struct Recovery {
    pub opened_on: String,
    pub opened_by: String,
    pub proven_on: Option<String>,
    pub open: bool,
    /// Of one that is open.
    pub days_standing: Option<i64>,
    #[serde(flatten)]
    pub standing: Standing,
}
