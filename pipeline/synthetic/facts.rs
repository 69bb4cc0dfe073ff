//! What happened, as a shop would write it down: tests, scans with their codes, work, and the
//! register's view of a vehicle.
//!
//! Times are minutes of UTC since the weather's first day; units are the lake's own. How a shop words
//! and formats a fact is left to `dialects`. Nothing here fails.

use super::modules::Code;
use trade::words::{Chemistry, MeasuredKind, Operation, OrderCause, Powertrain, RatingStandard};

/// Minutes since midnight UTC of day 0.
pub type Minute = i64;

/// The day a minute falls on.
pub fn day_of(minute: Minute) -> i32 {
    minute.div_euclid(1440) as i32
}

/// One battery test.
#[derive(Debug, Clone)]
pub struct Test {
    pub at: Minute,
    pub position: &'static str,
    pub rest_voltage_v: f64,
    pub surface_charge_removed: bool,
    pub temperature_c: Option<f64>,
    pub measured: Option<(f64, MeasuredKind)>,
    pub load: Option<(f64, f64)>,
    pub rated: Option<(f64, RatingStandard)>,
    pub chemistry: Chemistry,
    pub date_code: Option<String>,
    pub verdict: &'static str,
    pub shop: usize,
    pub technician: &'static str,
}

/// One scan with the codes it showed.
#[derive(Debug, Clone)]
pub struct Scan {
    pub scan_id: String,
    pub at: Minute,
    pub odometer_km: f64,
    pub modules_asked: usize,
    pub modules_answered: usize,
    pub supply_voltage_v: Option<f64>,
    /// Complete and supported.
    pub monitors: Option<(i64, i64)>,
    pub warm_ups_since_clear: i64,
    pub km_since_clear: f64,
    pub shop: usize,
    pub technician: &'static str,
    pub codes: Vec<ScannedCode>,
}

/// One code as a scan showed it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScannedCode {
    pub module: &'static str,
    pub code: Code,
    pub status: u8,
    pub occurrences: u8,
    /// Whether a sag of the supply set it. Truth, never exported.
    pub of_supply: bool,
    /// Whether a plain clear does not end it. Truth, never exported.
    pub latched: bool,
}

/// Bits of ISO 14229-1 Annex D.
pub const PENDING: u8 = 0x04;
pub const CONFIRMED: u8 = 0x08;

/// One operation on a work order.
#[derive(Debug, Clone)]
pub struct Work {
    pub order_no: String,
    pub opened: Minute,
    /// `None` while the order is open.
    pub closed: Option<Minute>,
    /// When the operation itself was done. Truth, never exported.
    pub done: Minute,
    pub odometer_km: f64,
    pub shop: usize,
    pub technician: &'static str,
    pub complaint: &'static str,
    pub cause: Option<OrderCause>,
    /// The shop's own word for the cause, where it is none of the usual.
    pub cause_word: Option<&'static str>,
    pub operation: Operation,
    pub position: Option<&'static str>,
    pub module: Option<&'static str>,
    pub parts_cost: Option<f64>,
    pub labour_hours: Option<f64>,
}

/// A vehicle as the register shows it on a day.
#[derive(Debug, Clone)]
pub struct Snapshot {
    pub seen_day: i32,
    pub unit_no: String,
    pub depot: &'static str,
    pub make: &'static str,
    pub model: &'static str,
    pub model_year: i32,
    pub powertrain: Powertrain,
    pub in_service_day: i32,
    pub joined_day: Option<i32>,
    pub odometer_km: f64,
    pub battery_group: &'static str,
    pub chemistry: Chemistry,
    pub rating: (f64, RatingStandard),
    pub battery_installed_day: i32,
    pub left_day: Option<i32>,
}

/// Anything a vehicle leaves in the dumps.
#[derive(Debug, Clone)]
pub enum Fact {
    Test(Test),
    Scan(Scan),
    Work(Work),
    Snapshot(Snapshot),
}
