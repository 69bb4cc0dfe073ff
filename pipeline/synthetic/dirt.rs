//! What goes wrong between the shop's screen and the file: one row in [`SHARE`] is spoilt.
//!
//! Rows of registers, tests and weather are spoilt in place: what they said is lost. A spoilt line of
//! a scan or an order comes before the good one, as if typed again, so that every date in the truth
//! can be read from the dumps. A garbled cell is one that no reader can take for another value.
//! Nothing here fails.

use chrono::Duration;

use super::dialects::{Dialect, Row, Value};
use super::streams::{Stream, chance, pick, whole};

/// Share of rows that are spoilt.
pub const SHARE: f64 = 0.03;

/// How a row is spoilt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dirt {
    ImpossibleVin,
    SwappedColumns,
    MissingRequired,
    MissingRating,
    Duplicate,
    InTheFuture,
    GarbledNumber,
}

impl Dirt {
    /// The name in the summary.
    pub fn name(self) -> &'static str {
        match self {
            Dirt::ImpossibleVin => "impossible VIN",
            Dirt::SwappedColumns => "swapped columns",
            Dirt::MissingRequired => "missing required cell",
            Dirt::MissingRating => "missing rating",
            Dirt::Duplicate => "duplicate",
            Dirt::InTheFuture => "in the future",
            Dirt::GarbledNumber => "garbled number",
        }
    }
}

/// How each kind of dump can be spoilt, and which two columns slip into each other.
struct Ways {
    kind: &'static str,
    dirt: &'static [Dirt],
    swapped: (&'static str, &'static str),
    required: &'static [&'static str],
    numbers: &'static [&'static str],
    event: &'static str,
    beside: bool,
}

const WAYS: [Ways; 5] = [
    Ways {
        kind: "vehicle",
        dirt: &[
            Dirt::ImpossibleVin,
            Dirt::SwappedColumns,
            Dirt::MissingRequired,
            Dirt::MissingRating,
            Dirt::Duplicate,
            Dirt::GarbledNumber,
        ],
        swapped: ("vin", "unit_no"),
        required: &["vin", "depot", "in_service_date"],
        numbers: &["odometer_km", "rating_value"],
        event: "",
        beside: false,
    },
    Ways {
        kind: "battery_test",
        dirt: &[
            Dirt::ImpossibleVin,
            Dirt::SwappedColumns,
            Dirt::MissingRequired,
            Dirt::MissingRating,
            Dirt::Duplicate,
            Dirt::InTheFuture,
            Dirt::GarbledNumber,
        ],
        swapped: ("rest_voltage_v", "rated_value"),
        required: &["vin", "tested_at"],
        numbers: &["rest_voltage_v", "measured_value"],
        event: "tested_at",
        beside: false,
    },
    Ways {
        kind: "code_scan",
        dirt: &[
            Dirt::ImpossibleVin,
            Dirt::SwappedColumns,
            Dirt::MissingRequired,
            Dirt::Duplicate,
            Dirt::InTheFuture,
        ],
        swapped: ("vin", "scan_id"),
        required: &["vin", "scanned_at"],
        numbers: &[],
        event: "scanned_at",
        beside: true,
    },
    Ways {
        kind: "work_order",
        dirt: &[
            Dirt::ImpossibleVin,
            Dirt::SwappedColumns,
            Dirt::MissingRequired,
            Dirt::Duplicate,
            Dirt::InTheFuture,
        ],
        swapped: ("vin", "order_no"),
        required: &["vin", "order_no", "opened_at"],
        numbers: &[],
        event: "opened_at",
        beside: true,
    },
    Ways {
        kind: "depot_weather",
        dirt: &[
            Dirt::SwappedColumns,
            Dirt::MissingRequired,
            Dirt::Duplicate,
            Dirt::GarbledNumber,
        ],
        swapped: ("depot", "day"),
        required: &["depot", "day", "mean_temperature_c"],
        numbers: &["mean_temperature_c", "max_temperature_c"],
        event: "",
        beside: false,
    },
];

/// The lines of one row: usually one, and how it was spoilt if it was.
pub struct Lines {
    pub lines: Vec<Vec<String>>,
    pub dirt: Option<Dirt>,
}

/// Writes a row in a dialect and spoils one in [`SHARE`].
pub fn lines(rng: &mut Stream, dialect: &Dialect, row: &dyn Row, zone: chrono_tz::Tz) -> Lines {
    let good = dialect.cells(row, zone);
    let clean = |good| Lines {
        lines: vec![good],
        dirt: None,
    };
    if !chance(rng, SHARE) {
        return clean(good);
    }
    let Some(ways) = WAYS.iter().find(|ways| ways.kind == dialect.kind) else {
        return clean(good);
    };
    let Some(&dirt) = pick(rng, ways.dirt) else {
        return clean(good);
    };
    let Some(spoilt) = spoil(rng, ways, dirt, dialect, row, zone, &good) else {
        return clean(good);
    };
    let lines = match dirt {
        Dirt::Duplicate => vec![good, spoilt],
        Dirt::MissingRating => vec![spoilt],
        _ if ways.beside => vec![spoilt, good],
        _ => vec![spoilt],
    };
    Lines {
        lines,
        dirt: Some(dirt),
    }
}

/// The spoilt line; `None` where the row has nothing to spoil that way.
fn spoil(
    rng: &mut Stream,
    ways: &Ways,
    dirt: Dirt,
    dialect: &Dialect,
    row: &dyn Row,
    zone: chrono_tz::Tz,
    good: &[String],
) -> Option<Vec<String>> {
    let mut cells = good.to_vec();
    let filled = |field: &str| {
        dialect
            .place(field)
            .filter(|place| !good[*place].is_empty())
    };
    match dirt {
        Dirt::Duplicate => {}
        Dirt::ImpossibleVin => {
            let place = filled("vin")?;
            cells[place] = impossible_vin(rng, &good[place]);
        }
        Dirt::SwappedColumns => {
            let (one, other) = (filled(ways.swapped.0)?, filled(ways.swapped.1)?);
            cells.swap(one, other);
        }
        Dirt::MissingRequired => {
            let field = *pick(rng, ways.required)?;
            for (place, column) in dialect.columns().enumerate() {
                if column.field == field {
                    cells[place].clear();
                }
            }
        }
        Dirt::MissingRating => {
            let place = filled("rated_value").or_else(|| filled("rating_value"))?;
            cells[place].clear();
        }
        Dirt::InTheFuture => {
            let ahead = Ahead {
                row,
                field: ways.event,
                days: 365 * whole(rng, 20, 60),
            };
            cells = dialect.cells(&ahead, zone);
        }
        Dirt::GarbledNumber => {
            let place = filled(pick(rng, ways.numbers)?)?;
            cells[place] = (*pick(rng, &["####", "1O.4", "12..6", "4?1", "err"])?).to_owned();
        }
    }
    Some(cells)
}

/// A VIN with a letter no VIN has, or a character short or over.
fn impossible_vin(rng: &mut Stream, vin: &str) -> String {
    let mut characters: Vec<char> = vin.chars().collect();
    let place = whole(rng, 0, characters.len() as i64 - 1) as usize;
    match whole(rng, 0, 3) {
        0 => {
            characters.remove(place);
        }
        1 => characters.insert(place, '7'),
        2 => characters[place] = 'O',
        _ => characters[place] = 'I',
    }
    characters.into_iter().collect()
}

/// A row whose event lies so many days later.
struct Ahead<'a> {
    row: &'a dyn Row,
    field: &'static str,
    days: i64,
}

impl Row for Ahead<'_> {
    fn value(&self, field: &str) -> Value<'_> {
        match self.row.value(field) {
            Value::Instant(at) if field == self.field => {
                Value::Instant(at + Duration::days(self.days))
            }
            value => value,
        }
    }
}
