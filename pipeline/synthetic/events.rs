//! What truly happens to batteries: the exact record behind orders, tests and calls.
//!
//! Nothing here fails or draws.

use std::fmt;

use chrono::NaiveDate;

use super::facts::{Minute, day_of};
use super::weather::Weather;
use trade::words::Chemistry;

/// What happened to a battery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    Failed,
    /// It did not start the vehicle, and was only discharged.
    OnlyDischarged,
    Tested,
    ReplacedFailed,
    ReplacedPlanned,
    /// Replaced though the fault was elsewhere.
    ReplacedWrongly,
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            What::Failed => "failed",
            What::OnlyDischarged => "only discharged",
            What::Tested => "tested",
            What::ReplacedFailed => "replaced failed",
            What::ReplacedPlanned => "replaced planned",
            What::ReplacedWrongly => "replaced wrongly",
        })
    }
}

/// One happening inside a life.
#[derive(Debug, Clone)]
pub struct Event {
    pub at: Minute,
    pub position: &'static str,
    pub chemistry: Chemistry,
    pub what: What,
    /// The order it stands on, if any.
    pub order_no: String,
    /// Parts, money of the order; 0 where none.
    pub parts_cost: f64,
}

/// One happening as a world tells it.
#[derive(Debug, Clone, PartialEq)]
pub struct BatteryEvent {
    pub vin: String,
    pub position: String,
    pub chemistry: Chemistry,
    pub day: NaiveDate,
    pub what: What,
    pub order_no: String,
    pub parts_cost: f64,
}

impl Event {
    pub fn told(&self, vin: &str, weather: &Weather) -> BatteryEvent {
        BatteryEvent {
            vin: vin.to_owned(),
            position: self.position.to_owned(),
            chemistry: self.chemistry,
            day: weather.date(day_of(self.at)),
            what: self.what,
            order_no: self.order_no.clone(),
            parts_cost: self.parts_cost,
        }
    }
}
