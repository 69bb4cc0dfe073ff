//! How each shop and register words its exports: one description gives both the rows of the dump and
//! the mapping that reads them back.
//!
//! A description lists the file's columns in order; each has a header, the lake's field it holds and
//! the form it is written in. What is true of a row is left to `facts`, what is spoilt in it to
//! `dirt`. Nothing here fails.

mod mapping;
mod order_exports;
mod registers;
mod rows;
mod scan_exports;
mod shop_style;
mod test_exports;

pub use mapping::mapping_toml;
pub use order_exports::ORDERS;
pub use registers::{REGISTERS, WEATHER_METRIC, WEATHER_US};
pub use rows::{CodeRow, Row, SnapshotRow, TestRow, Value, WeatherRow, WorkRow, date, instant};
pub use scan_exports::SCANS;
pub use test_exports::TESTS;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

/// A unit a column is written in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unit {
    /// A plain number.
    None,
    /// The lake's own unit, named.
    Own(&'static str),
    /// A named unit so many times smaller than the lake's.
    Finer(&'static str, f64),
    DegF,
    Miles,
}

/// The form a column is written in.
#[derive(Debug, Clone, Copy)]
pub enum Form {
    Text,
    Whole,
    /// A number with its unit and decimals.
    Number(Unit, usize),
    /// A reading: number, unit and decimals, and what kind of reading the column holds.
    Reading(&'static str, usize, &'static str),
    /// A day or an instant by a strftime pattern, in the shop's zone.
    Time(&'static str),
    /// The words for yes and no.
    Flag(&'static str, &'static str),
    /// A byte as two hexadecimal digits.
    Hex,
    /// A column nobody needs; always this text.
    Idle(&'static str),
}

/// One column.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    pub header: &'static str,
    /// The lake's field; empty for an idle column.
    pub field: &'static str,
    pub form: Form,
}

/// Shop's word and the lake's word.
pub type Words = &'static [(&'static str, &'static str)];

/// One exporter's way to write one kind of dump.
#[derive(Debug)]
pub struct Dialect {
    /// The kind of dump, as mappings name it.
    pub kind: &'static str,
    pub name: &'static str,
    /// Folder of the dumps, then the start of their file names.
    pub folder: &'static str,
    pub file: &'static str,
    pub shop: Option<&'static str>,
    pub delimiter: u8,
    pub decimal_mark: char,
    pub thousands_mark: Option<char>,
    pub time_zone: &'static str,
    pub windows_1252: bool,
    pub constants: &'static [(&'static str, &'static str)],
    pub columns: &'static [Column],
    /// Field, then its words.
    pub words: &'static [(&'static str, Words)],
    /// Times are written as days alone.
    pub days_alone: bool,
}

/// What most dialects have in common.
pub const PLAIN: Dialect = Dialect {
    kind: "",
    name: "",
    folder: "",
    file: "",
    shop: None,
    delimiter: b',',
    decimal_mark: '.',
    thousands_mark: None,
    time_zone: "UTC",
    windows_1252: false,
    constants: &[],
    columns: &[],
    words: &[],
    days_alone: false,
};

/// A column that holds a field.
pub const fn column(header: &'static str, field: &'static str, form: Form) -> Column {
    Column {
        header,
        field,
        form,
    }
}

/// A column nobody needs.
pub const fn idle(header: &'static str, text: &'static str) -> Column {
    Column {
        header,
        field: "",
        form: Form::Idle(text),
    }
}

impl Dialect {
    /// The zone its local times are written in.
    pub fn zone(&self) -> Tz {
        self.time_zone.parse().unwrap_or(Tz::UTC)
    }

    /// The columns of the file: all, or those that are not times of day alone.
    pub fn columns(&self) -> impl Iterator<Item = Column> {
        self.columns.iter().filter_map(|column| match column.form {
            Form::Time(pattern) if self.days_alone => {
                let form = Form::Time(day_part(pattern)?);
                Some(Column { form, ..*column })
            }
            _ => Some(*column),
        })
    }

    /// Where a field stands first.
    pub fn place(&self, field: &str) -> Option<usize> {
        self.columns().position(|column| column.field == field)
    }

    /// A row as its cells.
    pub fn cells(&self, row: &dyn Row, zone: Tz) -> Vec<String> {
        self.columns()
            .map(|column| self.cell(&column, row, zone))
            .collect()
    }

    fn cell(&self, column: &Column, row: &dyn Row, zone: Tz) -> String {
        if let Form::Idle(text) = column.form {
            return text.to_owned();
        }
        match (row.value(column.field), column.form) {
            (Value::Missing, _) => String::new(),
            (Value::Text(text), _) => self.word(column.field, text).to_owned(),
            (Value::Flag(flag), Form::Flag(yes, no)) => if flag { yes } else { no }.to_owned(),
            (Value::Flag(flag), _) => if flag { "yes" } else { "no" }.to_owned(),
            (Value::Whole(whole), Form::Hex) => format!("{whole:02X}"),
            (Value::Whole(whole), _) => whole.to_string(),
            (Value::Number(number), Form::Number(unit, decimals)) => {
                self.number(number, unit, decimals)
            }
            (Value::Number(number), Form::Reading(_, decimals, _)) => {
                self.number(number, Unit::None, decimals)
            }
            (Value::Number(number), _) => self.number(number, Unit::None, 0),
            (Value::Day(day), Form::Time(pattern)) => day.format(pattern).to_string(),
            (Value::Day(day), _) => day.to_string(),
            (Value::Instant(instant), Form::Time(pattern)) => local(instant, zone, pattern),
            (Value::Instant(instant), _) => local(instant, zone, "%Y-%m-%d %H:%M"),
        }
    }

    /// The shop's word for the lake's; of several, the first.
    fn word<'t>(&self, field: &str, ours: &'t str) -> &'t str {
        let words = self
            .words
            .iter()
            .find(|(of, _)| *of == field)
            .map(|(_, words)| *words);
        words
            .and_then(|words| words.iter().find(|(_, our)| *our == ours))
            .map_or(ours, |(shop, _)| shop)
    }

    fn number(&self, value: f64, unit: Unit, decimals: usize) -> String {
        let value = match unit {
            Unit::None | Unit::Own(_) => value,
            Unit::DegF => value * 1.8 + 32.0,
            Unit::Miles => value / 1.609_344,
            Unit::Finer(_, times) => value * times,
        };
        let plain = format!("{value:.decimals$}");
        let plain = if plain.starts_with('-') && plain[1..].chars().all(|c| c == '0' || c == '.') {
            plain[1..].to_owned()
        } else {
            plain
        };
        if self.decimal_mark == '.' && self.thousands_mark.is_none() {
            return plain;
        }
        let (whole, fraction) = plain.split_once('.').unwrap_or((&plain, ""));
        let mut text = match self.thousands_mark {
            Some(mark) => grouped(whole, mark),
            None => whole.to_owned(),
        };
        if !fraction.is_empty() {
            text.push(self.decimal_mark);
            text.push_str(fraction);
        }
        text
    }
}

/// The part of a time's pattern that is the day; `None` if it holds none.
fn day_part(pattern: &'static str) -> Option<&'static str> {
    let end = [" %H", "T%H", " %I"]
        .iter()
        .filter_map(|time| pattern.find(time))
        .min()
        .unwrap_or(pattern.len());
    let day = &pattern[..end];
    (!day.contains("%I") && !day.contains("%H")).then_some(day)
}

fn local(instant: DateTime<Utc>, zone: Tz, pattern: &str) -> String {
    instant.with_timezone(&zone).format(pattern).to_string()
}

/// Digits in groups of three.
fn grouped(whole: &str, mark: char) -> String {
    let (sign, digits) = match whole.strip_prefix('-') {
        Some(digits) => ("-", digits),
        None => ("", whole),
    };
    let mut text = sign.to_owned();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(mark);
        }
        text.push(digit);
    }
    text
}
