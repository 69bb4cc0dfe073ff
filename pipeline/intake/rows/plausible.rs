//! What no real row can say: things after now, ends before beginnings, more answers than questions.
//!
//! Only what one line shows. What takes several lines to see (an odometer that runs backwards, two
//! batteries in one place) is left to the lake's own check.

use chrono::{DateTime, Days, Utc};

use crate::fault::Fault;
use crate::fields::cell::Value;
use crate::fields::dump::DumpKind;
use crate::fields::meaning::{Horizon, Meaning};
use crate::fields::moment::{epoch_days, shown_day, shown_instant};
use crate::mapping::header_layout::HeaderLayout;

/// Days of grace for clocks and time zones.
const GRACE_DAYS: u64 = 1;
/// How far ahead something may be planned.
const PLANNED_DAYS: u64 = 2 * 366;
/// Before this day no dump has anything: diagnostic exports and fleet records on computers are
/// younger. Common practice, no source.
const FIRST_DAY: i32 = 3652; // 1980-01-01

/// Pairs of fields of which the first is never the greater, and the fault if it is.
const ORDERED: &[(&str, &str, &str)] = &[
    (
        "in_service_date",
        "left_fleet_date",
        "left the fleet before it was in service",
    ),
    (
        "joined_fleet_date",
        "left_fleet_date",
        "left the fleet before it joined",
    ),
    ("opened_at", "closed_at", "closed before it was opened"),
    (
        "modules_answered",
        "modules_asked",
        "more modules answered than were asked",
    ),
    (
        "monitors_ready",
        "monitors_supported",
        "more monitors ready than the vehicle has",
    ),
    (
        "min_temperature_c",
        "mean_temperature_c",
        "lowest temperature above the mean",
    ),
    (
        "mean_temperature_c",
        "max_temperature_c",
        "mean temperature above the highest",
    ),
];

/// Checks the rows under one header.
pub struct Plausible {
    /// Place and last day of each date.
    dates: Vec<(usize, &'static str, i32)>,
    ordered: Vec<(usize, usize, &'static str, &'static str)>,
    /// The places of which one test fills at least one.
    test_results: Vec<usize>,
}

impl Plausible {
    pub fn new(layout: &HeaderLayout, now: DateTime<Utc>) -> Plausible {
        let last_day = |days| {
            epoch_days(
                now.date_naive()
                    .checked_add_days(Days::new(days))
                    .unwrap_or(now.date_naive()),
            )
        };
        let dates = layout
            .fields
            .iter()
            .enumerate()
            .filter_map(|(place, field)| match field.meaning {
                Meaning::Day(Horizon::Planned) | Meaning::Instant(Horizon::Planned) => {
                    Some((place, field.column.name, last_day(PLANNED_DAYS)))
                }
                Meaning::Day(Horizon::Past) | Meaning::Instant(Horizon::Past) => {
                    Some((place, field.column.name, last_day(GRACE_DAYS)))
                }
                _ => None,
            });
        let ordered = ORDERED.iter().filter_map(|(lesser, greater, class)| {
            let field = layout.fields.get(layout.place(greater)?)?.column.name;
            Some((layout.place(lesser)?, layout.place(greater)?, field, *class))
        });
        let results = ["rest_voltage_v", "measured_value", "source_verdict"];
        let is_test = layout.kind() == DumpKind::BatteryTest;
        Plausible {
            dates: dates.collect(),
            ordered: ordered.collect(),
            test_results: results
                .iter()
                .filter(|_| is_test)
                .filter_map(|name| layout.place(name))
                .collect(),
        }
    }

    /// Adds what cannot be true of the row.
    pub fn row(&self, values: &[Value<'_>], faults: &mut Vec<Fault>) {
        for (place, field, last_day) in &self.dates {
            let (day, shown) = match values[*place] {
                Value::Day(day) => (day, shown_day as fn(i32) -> String),
                Value::Instant(at) => (days_of(at), shown_day as fn(i32) -> String),
                _ => continue,
            };
            if day > *last_day {
                faults.push(Fault::field(
                    field,
                    format!("{field} is in the future"),
                    shown(day),
                ));
            } else if day < FIRST_DAY {
                faults.push(Fault::field(
                    field,
                    format!("{field} is before 1980"),
                    shown(day),
                ));
            }
        }
        for (lesser, greater, field, class) in &self.ordered {
            let (lesser, greater) = (&values[*lesser], &values[*greater]);
            if is_greater(lesser, greater) {
                faults.push(Fault::field(
                    field,
                    *class,
                    format!("{} and {}", shown(lesser), shown(greater)),
                ));
            }
        }
        if !self.test_results.is_empty()
            && self
                .test_results
                .iter()
                .all(|place| values[*place].is_missing())
        {
            let detail = "neither rest voltage, nor a reading, nor the tester's verdict";
            faults.push(Fault::field(
                "measured_value",
                "a test without a result",
                detail,
            ));
        }
    }
}

/// The UTC day of an instant.
fn days_of(microseconds: i64) -> i32 {
    i32::try_from(microseconds.div_euclid(86_400_000_000)).unwrap_or(i32::MAX)
}

fn is_greater(one: &Value<'_>, other: &Value<'_>) -> bool {
    match (one, other) {
        (Value::Day(one), Value::Day(other)) => one > other,
        (Value::Instant(one), Value::Instant(other)) => one > other,
        (Value::Whole(one), Value::Whole(other)) => one > other,
        (Value::Number(one), Value::Number(other)) => one > other,
        _ => false,
    }
}

/// A value as a person would write it.
pub fn shown(value: &Value<'_>) -> String {
    match value {
        Value::Missing => String::new(),
        Value::Text(text) => text.to_string(),
        Value::Day(day) => shown_day(*day),
        Value::Instant(at) => shown_instant(*at),
        Value::Whole(whole) => whole.to_string(),
        Value::Number(number) => format!("{}", (number * 1000.0).round() / 1000.0),
        Value::Flag(true) => "yes".to_owned(),
        Value::Flag(false) => "no".to_owned(),
    }
}
