//! What each field means: its unit, the values it can have, the list its words come from.
//!
//! One table for all fields; a field has the same meaning in whichever table it stands. Ranges are
//! wide on purpose: they stop slips of unit, decimal mark and column, not unusual batteries.
//! Where a standard bounds a value it is named; every other range is common practice, no source.

use super::unit::Dimension;
use trade::words::{Chemistry, MeasuredKind, Operation, OrderCause, Powertrain, RatingStandard};

/// What a field means.
#[derive(Debug, Clone, Copy)]
pub enum Meaning {
    Vin,
    Text,
    /// Which battery.
    Position,
    /// A word of a closed list.
    Word(WordList),
    /// A number in the lake's unit.
    Number(Quantity),
    /// A test's reading, whose unit its kind names.
    Reading,
    /// A whole number from `low` to `high`.
    Whole {
        about: &'static str,
        low: i64,
        high: i64,
    },
    Flag,
    Day(Horizon),
    Instant(Horizon),
    Code,
}

/// A number's unit and range.
#[derive(Debug, Clone, Copy)]
pub struct Quantity {
    /// The field in words, such as `rest voltage`.
    pub about: &'static str,
    pub dimension: Option<Dimension>,
    pub low: f64,
    pub high: f64,
    /// For what the range holds, such as `for a 12 V battery`.
    pub of: &'static str,
}

/// How far ahead of now a date may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Horizon {
    /// Something that happened. A day's grace is left for clocks and time zones.
    Past,
    /// Something that may be planned, up to two years ahead.
    Planned,
}

/// A closed list of words.
#[derive(Debug, Clone, Copy)]
pub struct WordList {
    pub name: &'static str,
    /// The stored spelling of a word, however it was written.
    pub find: fn(&str) -> Option<&'static str>,
    pub all: fn() -> Vec<&'static str>,
}

/// The list of one of the trade's word types.
macro_rules! list {
    ($name:literal, $words:ident) => {
        Meaning::Word(WordList {
            name: $name,
            find: |text| $words::parse(text).ok().map(|word| word.as_str()),
            all: || $words::ALL.iter().map(|word| word.as_str()).collect(),
        })
    };
}

const fn number(
    about: &'static str,
    dimension: Dimension,
    low: f64,
    high: f64,
    of: &'static str,
) -> Meaning {
    Meaning::Number(Quantity {
        about,
        dimension: Some(dimension),
        low,
        high,
        of,
    })
}

const fn whole(about: &'static str, low: i64, high: i64) -> Meaning {
    Meaning::Whole { about, low, high }
}

/// What the field of that name means.
pub fn meaning(field: &str) -> Meaning {
    use Dimension::{Ampere, Celsius, Hour, Kilometre, Second, Volt};
    match field {
        "vin" => Meaning::Vin,
        "position" => Meaning::Position,
        "code" => Meaning::Code,

        "powertrain" => list!("powertrain", Powertrain),
        "chemistry" => list!("chemistry", Chemistry),
        "rating_standard" | "rated_standard" => list!("rating standard", RatingStandard),
        "measured_kind" => list!("kind of reading", MeasuredKind),
        "operation" => list!("operation", Operation),
        "cause" => list!("cause", OrderCause),

        "rest_voltage_v" => number("rest voltage", Volt, -1.0, 18.0, "for a 12 V battery"),
        "supply_voltage_v" => number("supply voltage", Volt, -1.0, 18.0, "for a 12 V system"),
        "temperature_c" => number("battery temperature", Celsius, -50.0, 90.0, "for a battery"),
        "mean_temperature_c" => number(
            "mean temperature",
            Celsius,
            -70.0,
            50.0,
            "for a day's weather",
        ),
        "min_temperature_c" => number(
            "lowest temperature",
            Celsius,
            -80.0,
            50.0,
            "for a day's weather",
        ),
        "max_temperature_c" => number(
            "highest temperature",
            Celsius,
            -70.0,
            60.0,
            "for a day's weather",
        ),
        "measured_value" => Meaning::Reading,
        "load_current_a" => number("load current", Ampere, 0.0, 3000.0, "for a load test"),
        "load_seconds" => number("time under load", Second, 0.0, 600.0, "for a load test"),
        "rated_value" | "rating_value" => number(
            "cold cranking rating",
            Ampere,
            50.0,
            3000.0,
            "for a 12 V battery",
        ),
        "odometer_km" => number("odometer", Kilometre, 0.0, 5e6, "for a road vehicle"),
        "km_since_clear" => number(
            "distance since codes were cleared",
            Kilometre,
            0.0,
            5e6,
            "for a road vehicle",
        ),
        "labour_hours" => number("labour", Hour, 0.0, 1000.0, "for one operation"),
        "parts_cost" => Meaning::Number(Quantity {
            about: "cost of parts",
            dimension: None,
            low: -1e6,
            high: 1e6,
            of: "for one operation",
        }),

        "model_year" => whole("model year", 1950, 2100),
        "modules_asked" => whole("modules asked", 0, 1000),
        "modules_answered" => whole("modules that answered", 0, 1000),
        "monitors_ready" => whole("monitors ready", 0, 64),
        "monitors_supported" => whole("monitors supported", 0, 64),
        // SAE J1979, service 01 PID 30: one byte.
        "warm_ups_since_clear" => whole("warm-ups since clear", 0, 255),
        // ISO 14229-1: failure type and status are one byte each.
        "failure_type" => whole("failure type", 0, 255),
        "status_byte" => whole("status byte", 0, 255),
        // SAE J1939-73: 19 bits, 5 bits.
        "spn" => whole("suspect parameter number", 0, 524_287),
        "fmi" => whole("failure mode identifier", 0, 31),
        "occurrence_count" => whole("occurrence count", 0, 65_535),

        "surface_charge_removed"
        | "temperature_compensated"
        | "pending"
        | "confirmed"
        | "permanent" => Meaning::Flag,

        "seen_on"
        | "battery_installed_on"
        | "day"
        | "local_day"
        | "opened_local_day"
        | "closed_local_day" => Meaning::Day(Horizon::Past),
        "in_service_date" | "joined_fleet_date" | "left_fleet_date" => {
            Meaning::Day(Horizon::Planned)
        }
        "tested_at" | "scanned_at" | "opened_at" | "closed_at" => Meaning::Instant(Horizon::Past),
        _ => Meaning::Text,
    }
}

/// The unit and range of a reading of that kind; `None` for a word that is no kind of reading.
pub fn reading(kind: &str) -> Option<Quantity> {
    use Dimension::{Ampere, Milliohm, Siemens, Volt};
    let (about, dimension, low, high) = match MeasuredKind::parse(kind).ok()? {
        MeasuredKind::ConductanceS => ("conductance", Siemens, 0.0, 10_000.0),
        MeasuredKind::ResistanceMohm => ("internal resistance", Milliohm, 0.1, 10_000.0),
        MeasuredKind::LoadTestV => ("voltage under load", Volt, -1.0, 18.0),
        _ => ("cranking current", Ampere, 0.0, 3000.0),
    };
    Some(Quantity {
        about,
        dimension: Some(dimension),
        low,
        high,
        of: "for a 12 V battery",
    })
}

impl Quantity {
    pub fn allows(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// The lake's unit with a space before it, or nothing.
    pub fn unit_suffix(&self) -> String {
        self.dimension
            .map(|dimension| format!(" {}", dimension.symbol()))
            .unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fields::dump::DumpKind;
    use lake::tables::Kind;

    /// Every field of every kind has the meaning its type in the lake asks for.
    #[test]
    fn meanings_fit_the_lake() {
        for kind in DumpKind::ALL {
            for field in kind.fields() {
                let fits = match meaning(field.name) {
                    Meaning::Vin
                    | Meaning::Text
                    | Meaning::Position
                    | Meaning::Word(_)
                    | Meaning::Code => field.kind == Kind::Text,
                    Meaning::Number(_) | Meaning::Reading => field.kind == Kind::Number,
                    Meaning::Whole { .. } => field.kind == Kind::Integer,
                    Meaning::Flag => field.kind == Kind::Flag,
                    Meaning::Day(_) => field.kind == Kind::Day,
                    Meaning::Instant(_) => field.kind == Kind::Instant,
                };
                assert!(
                    fits,
                    "{} of {} does not fit {:?}",
                    field.name,
                    kind.name(),
                    field.kind
                );
            }
        }
    }
}
