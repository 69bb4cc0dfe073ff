//! Facts as rows of the lake's fields: what each field of a row holds.

use chrono::{DateTime, Duration, NaiveDate, NaiveTime, Utc};

use crate::facts::{CONFIRMED, Minute, PENDING, Scan, ScannedCode, Snapshot, Test, Work};
use crate::modules::Code;
use crate::shops::SHOPS;

/// What a field holds, in the lake's units and words.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value<'a> {
    Missing,
    Text(&'a str),
    Whole(i64),
    Number(f64),
    Day(NaiveDate),
    Instant(DateTime<Utc>),
    Flag(bool),
}

impl<'a> Value<'a> {
    fn from_text(text: Option<&'a str>) -> Value<'a> {
        text.map_or(Value::Missing, Value::Text)
    }

    fn from_number(number: Option<f64>) -> Value<'a> {
        number.map_or(Value::Missing, Value::Number)
    }
}

/// One row of a dump.
pub trait Row {
    /// The value of a field of the lake; `Missing` for a field the row does not know.
    fn value(&self, field: &str) -> Value<'_>;
}

/// The instant of a minute after day 0.
pub fn instant(first_day: NaiveDate, at: Minute) -> DateTime<Utc> {
    first_day.and_time(NaiveTime::MIN).and_utc() + Duration::minutes(at)
}

/// The date of a day after day 0.
pub fn date(first_day: NaiveDate, day: i32) -> NaiveDate {
    first_day + Duration::days(i64::from(day))
}

/// A battery test.
pub struct TestRow<'a> {
    pub vin: &'a str,
    pub first_day: NaiveDate,
    pub test: &'a Test,
}

impl Row for TestRow<'_> {
    fn value(&self, field: &str) -> Value<'_> {
        let test = self.test;
        match field {
            "vin" => Value::Text(self.vin),
            "position" => Value::Text(test.position),
            "tested_at" => Value::Instant(instant(self.first_day, test.at)),
            "rest_voltage_v" => Value::Number(test.rest_voltage_v),
            "surface_charge_removed" => Value::Flag(test.surface_charge_removed),
            "temperature_c" => Value::from_number(test.temperature_c),
            "measured_value" => Value::from_number(test.measured.map(|measured| measured.0)),
            "measured_kind" => Value::from_text(test.measured.map(|measured| measured.1.as_str())),
            "load_current_a" => Value::from_number(test.load.map(|load| load.0)),
            "load_seconds" => Value::from_number(test.load.map(|load| load.1)),
            "rated_value" => Value::from_number(test.rated.map(|rated| rated.0)),
            "rated_standard" => Value::from_text(test.rated.map(|rated| rated.1.as_str())),
            "chemistry" => Value::Text(test.chemistry.as_str()),
            "date_code" => Value::from_text(test.date_code.as_deref()),
            "source_verdict" => Value::Text(test.verdict),
            "shop" => Value::Text(SHOPS[test.shop].name),
            "technician" => Value::Text(test.technician),
            _ => Value::Missing,
        }
    }
}

/// A scan with one of its codes, or with none.
pub struct CodeRow<'a> {
    pub vin: &'a str,
    pub first_day: NaiveDate,
    pub scan: &'a Scan,
    pub code: Option<&'a ScannedCode>,
    /// The code's text; empty without a code.
    pub text: &'a str,
}

impl Row for CodeRow<'_> {
    fn value(&self, field: &str) -> Value<'_> {
        let scan = self.scan;
        match field {
            "scan_id" => Value::Text(&scan.scan_id),
            "vin" => Value::Text(self.vin),
            "scanned_at" => Value::Instant(instant(self.first_day, scan.at)),
            "odometer_km" => Value::Number(scan.odometer_km),
            "modules_asked" => Value::Whole(scan.modules_asked as i64),
            "modules_answered" => Value::Whole(scan.modules_answered as i64),
            "supply_voltage_v" => Value::from_number(scan.supply_voltage_v),
            "monitors_ready" => scan
                .monitors
                .map_or(Value::Missing, |monitors| Value::Whole(monitors.0)),
            "monitors_supported" => scan
                .monitors
                .map_or(Value::Missing, |monitors| Value::Whole(monitors.1)),
            "warm_ups_since_clear" => Value::Whole(scan.warm_ups_since_clear),
            "km_since_clear" => Value::Number(scan.km_since_clear),
            "shop" => Value::Text(SHOPS[scan.shop].name),
            "technician" => Value::Text(scan.technician),
            _ => self
                .code
                .map_or(Value::Missing, |code| self.code_value(code, field)),
        }
    }
}

impl CodeRow<'_> {
    fn code_value(&self, code: &ScannedCode, field: &str) -> Value<'_> {
        match (field, code.code) {
            ("module_address", _) => Value::Text(code.module),
            ("code", _) => Value::Text(self.text),
            ("failure_type", Code::Light(_, failure_type)) => Value::Whole(i64::from(failure_type)),
            ("status_byte", Code::Light(..)) => Value::Whole(i64::from(code.status)),
            ("pending", Code::Light(..)) => Value::Flag(code.status & PENDING != 0),
            ("confirmed", Code::Light(..)) => Value::Flag(code.status & CONFIRMED != 0),
            ("spn", Code::Heavy(spn, _)) => Value::Whole(i64::from(spn)),
            ("fmi", Code::Heavy(_, fmi)) => Value::Whole(i64::from(fmi)),
            ("occurrence_count", _) => Value::Whole(i64::from(code.occurrences)),
            _ => Value::Missing,
        }
    }
}

/// One operation on a work order.
pub struct WorkRow<'a> {
    pub vin: &'a str,
    pub first_day: NaiveDate,
    pub work: &'a Work,
}

impl Row for WorkRow<'_> {
    fn value(&self, field: &str) -> Value<'_> {
        let work = self.work;
        match field {
            "order_no" => Value::Text(&work.order_no),
            "vin" => Value::Text(self.vin),
            "opened_at" => Value::Instant(instant(self.first_day, work.opened)),
            "closed_at" => work.closed.map_or(Value::Missing, |closed| {
                Value::Instant(instant(self.first_day, closed))
            }),
            "odometer_km" => Value::Number(work.odometer_km),
            "shop" => Value::Text(SHOPS[work.shop].name),
            "technician" => Value::Text(work.technician),
            "complaint" => Value::Text(work.complaint),
            "cause" => Value::from_text(work.cause_word.or(work.cause.map(|cause| cause.as_str()))),
            "operation" => Value::Text(work.operation.as_str()),
            "position" => Value::from_text(work.position),
            "module_address" => Value::from_text(work.module),
            "parts_cost" => Value::from_number(work.parts_cost),
            "labour_hours" => Value::from_number(work.labour_hours),
            _ => Value::Missing,
        }
    }
}

/// A vehicle in the register.
pub struct SnapshotRow<'a> {
    pub vin: &'a str,
    pub first_day: NaiveDate,
    pub snapshot: &'a Snapshot,
}

impl Row for SnapshotRow<'_> {
    fn value(&self, field: &str) -> Value<'_> {
        let snapshot = self.snapshot;
        let day = |day: i32| Value::Day(date(self.first_day, day));
        match field {
            "vin" => Value::Text(self.vin),
            "seen_on" => day(snapshot.seen_day),
            "unit_no" => Value::Text(&snapshot.unit_no),
            "depot" => Value::Text(snapshot.depot),
            "make" => Value::Text(snapshot.make),
            "model" => Value::Text(snapshot.model),
            "model_year" => Value::Whole(i64::from(snapshot.model_year)),
            "powertrain" => Value::Text(snapshot.powertrain.as_str()),
            "in_service_date" => day(snapshot.in_service_day),
            "joined_fleet_date" => snapshot.joined_day.map_or(Value::Missing, day),
            "odometer_km" => Value::Number(snapshot.odometer_km),
            "battery_group" => Value::Text(snapshot.battery_group),
            "chemistry" => Value::Text(snapshot.chemistry.as_str()),
            "rating_value" => Value::Number(snapshot.rating.0),
            "rating_standard" => Value::Text(snapshot.rating.1.as_str()),
            "battery_installed_on" => day(snapshot.battery_installed_day),
            "left_fleet_date" => snapshot.left_day.map_or(Value::Missing, day),
            _ => Value::Missing,
        }
    }
}

/// One day's weather at a depot.
pub struct WeatherRow {
    pub depot: &'static str,
    pub day: NaiveDate,
    pub mean_c: f64,
    pub max_c: f64,
}

impl Row for WeatherRow {
    fn value(&self, field: &str) -> Value<'_> {
        match field {
            "depot" => Value::Text(self.depot),
            "day" => Value::Day(self.day),
            "mean_temperature_c" => Value::Number(self.mean_c),
            "max_temperature_c" => Value::Number(self.max_c),
            _ => Value::Missing,
        }
    }
}
