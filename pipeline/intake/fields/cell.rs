//! One cell's text to one value, or the fault in it.
//!
//! A shop's words are put in the lake's, then the text is read as the field's meaning asks, turned
//! into the lake's unit and held against the field's range.

use std::borrow::Cow;

use chrono_tz::Tz;

use super::field_plan::{CellPlan, FieldPlan};
use super::meaning::{Meaning, Quantity, meaning};
use super::moment::{Formats, epoch_days};
use super::number::{Marks, leading_number, whole_number};
use super::unit::{Dimension, Unit};
use crate::fault::{Fault, quoted};
use trade::heavy_code::Code;
use trade::trouble_code::TypedCode;
use trade::vin::Vin;

/// A value of the lake, or none.
#[derive(Debug, Clone, PartialEq)]
pub enum Value<'r> {
    Missing,
    Text(Cow<'r, str>),
    /// Days since 1970-01-01.
    Day(i32),
    /// UTC microseconds since 1970-01-01.
    Instant(i64),
    Whole(i64),
    Number(f64),
    Flag(bool),
}

impl Value<'_> {
    pub fn is_missing(&self) -> bool {
        *self == Value::Missing
    }

    pub fn text(&self) -> Option<&str> {
        match self {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// How cells are written in a file.
#[derive(Debug, Clone, Copy)]
pub struct CellFormat<'m> {
    pub marks: Marks,
    pub zone: Tz,
    /// Further cells that mean nothing, in lower case.
    pub blanks: &'m [String],
}

/// Cells that mean nothing, besides the empty one.
const BLANKS: &[&str] = &[
    "-", "--", "—", "n/a", "#n/a", "na", "null", "none", "nan", "(blank)",
];

/// Whether a cell holds nothing.
pub fn is_blank(cell: &str, format: &CellFormat) -> bool {
    let cell = cell.trim();
    if cell.is_empty() {
        return true;
    }
    // No blank word is longer than the longest of these, so most cells end here.
    if cell.len() <= 7 && BLANKS.iter().any(|blank| blank.eq_ignore_ascii_case(cell)) {
        return true;
    }
    !format.blanks.is_empty()
        && format
            .blanks
            .iter()
            .any(|blank| *blank == cell.to_lowercase())
}

/// Reads a cell that is not blank. Of a reading only words are read here: its unit hangs on its
/// kind, see [`read_quantity`].
pub fn read<'r>(
    plan: &FieldPlan,
    cell_plan: Option<&CellPlan>,
    cell: &'r str,
    format: &CellFormat,
) -> Result<Value<'r>, Fault> {
    let name = plan.column.name;
    let replaced = plan.words.find(cell).map(str::to_owned);
    let text: Cow<'r, str> = match replaced {
        Some(word) => Cow::Owned(word),
        None => Cow::Borrowed(cell.trim()),
    };
    let hexadecimal = cell_plan.is_some_and(|plan| plan.hexadecimal);
    match &plan.meaning {
        Meaning::Text => Ok(Value::Text(text)),
        Meaning::Position => Ok(Value::Text(Cow::Owned(position(&text)))),
        Meaning::Vin => match Vin::parse(&text) {
            Ok(vin) if vin.as_str() == text => Ok(Value::Text(text)),
            Ok(vin) => Ok(Value::Text(Cow::Owned(vin.to_string()))),
            Err(error) => Err(Fault::field(name, "not a VIN", error.to_string())),
        },
        Meaning::Code => match code(&text) {
            Ok(code) => Ok(Value::Text(Cow::Owned(code))),
            Err(error) => Err(Fault::field(name, "not a trouble code", error)),
        },
        Meaning::Word(list) => match (list.find)(&text) {
            Some(word) => Ok(Value::Text(Cow::Borrowed(word))),
            None => {
                let detail = format!(
                    "{}; known are {}; add it under [words.{name}] in the mapping",
                    quoted(&text),
                    (list.all)().join(", ")
                );
                Err(Fault::field(
                    name,
                    format!("not a known {}", list.name),
                    detail,
                ))
            }
        },
        Meaning::Flag => match flag(&text) {
            Some(flag) => Ok(Value::Flag(flag)),
            None => Err(Fault::field(name, "neither yes nor no", quoted(&text))),
        },
        Meaning::Whole { about, low, high } => {
            let value = whole_number(&text, format.marks, hexadecimal).map_err(|detail| {
                Fault::field(name, format!("{about} is not a whole number"), detail)
            })?;
            if (*low..=*high).contains(&value) {
                return Ok(Value::Whole(value));
            }
            Err(Fault::field(
                name,
                format!("{about} is outside {low} to {high}"),
                value.to_string(),
            ))
        }
        Meaning::Number(quantity) => {
            read_quantity(name, quantity, cell_plan, &text, format).map(Value::Number)
        }
        Meaning::Reading => Ok(Value::Text(text)),
        Meaning::Day(_) => match plan.formats.day(&text) {
            Ok(day) => Ok(Value::Day(epoch_days(day))),
            Err(detail) => Err(Fault::field(name, "not a date", detail)),
        },
        Meaning::Instant(_) => match plan.formats.instant(&text, format.zone) {
            Ok(instant) => Ok(Value::Instant(instant)),
            Err(detail) => Err(Fault::field(name, "not a date and time", detail)),
        },
    }
}

/// Reads a number with a unit: the one written after it, else the column's, else the lake's.
pub fn read_quantity(
    name: &'static str,
    quantity: &Quantity,
    cell_plan: Option<&CellPlan>,
    text: &str,
    format: &CellFormat,
) -> Result<f64, Fault> {
    let (number, written_unit) = leading_number(text, format.marks).map_err(|detail| {
        Fault::field(name, format!("{} is not a number", quantity.about), detail)
    })?;
    let unit = match (quantity.dimension, written_unit) {
        (Some(dimension), "") => {
            let unit = cell_plan.and_then(|plan| plan.unit_of(dimension));
            if let (None, Some(named)) = (unit, cell_plan.and_then(|plan| plan.unit.as_deref())) {
                let class = format!("{} is not measured in {named}", quantity.about);
                return Err(Fault::field(name, class, quoted(text)));
            }
            unit
        }
        (None, "") => None,
        (Some(dimension), written) => match Unit::find(written, dimension) {
            Some(unit) => Some(unit),
            None => {
                let class = format!("{} has an unknown unit", quantity.about);
                return Err(Fault::field(
                    name,
                    class,
                    format!("{}; known are {}", quoted(text), Unit::names(dimension)),
                ));
            }
        },
        (None, _) => {
            return Err(Fault::field(
                name,
                format!("{} is not a number", quantity.about),
                quoted(text),
            ));
        }
    };
    let value = unit.map_or(number, |unit| unit.convert(number));
    if quantity.allows(value) {
        return Ok(value);
    }
    Err(out_of_range(name, quantity, number, value, unit))
}

/// The fault of a value outside its range, with the slip that most likely made it.
fn out_of_range(
    name: &'static str,
    quantity: &Quantity,
    number: f64,
    value: f64,
    unit: Option<Unit>,
) -> Fault {
    let suffix = quantity.unit_suffix();
    let class = format!(
        "{} is outside {} to {}{suffix} {}",
        quantity.about, quantity.low, quantity.high, quantity.of
    );
    let shown =
        match unit.filter(|unit| Some(unit.symbol) != quantity.dimension.map(|own| own.symbol())) {
            Some(unit) => format!("{number} {} is {}{suffix}", unit.symbol, rounded(value)),
            None => format!("{number}{suffix}"),
        };
    let slip = quantity.dimension.and_then(|dimension| {
        let others = ["mV", "degF", "mi", "m", "mS", "uOhm", "Ohm", "min"];
        let other = others
            .iter()
            .filter_map(|symbol| Unit::find(symbol, dimension))
            .find(|other| {
                unit.is_none() && number > 0.0 && quantity.allows(other.convert(number))
            })?;
        Some(format!(
            "; in {} it would be {}{suffix}",
            other.symbol,
            rounded(other.convert(number))
        ))
    });
    let lost_mark = || {
        let shifted = [10.0, 100.0]
            .into_iter()
            .map(|factor| value / factor)
            .find(|shifted| quantity.allows(*shifted));
        shifted
            .filter(|_| quantity.dimension == Some(Dimension::Volt) && value > 0.0)
            .map(|shifted| {
                format!(
                    "; with a decimal mark it would be {}{suffix}",
                    rounded(shifted)
                )
            })
    };
    Fault::field(
        name,
        class,
        shown + &lost_mark().or(slip).unwrap_or_default(),
    )
}

/// To three decimals, for messages.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A code in its stored form: five characters, five with a failure type, or SPN and FMI.
fn code(text: &str) -> Result<String, String> {
    match Code::parse(text) {
        Ok(code) => Ok(code.to_string()),
        Err(error) => TypedCode::parse(text)
            .map(|code| code.to_string())
            .map_err(|_| error.to_string()),
    }
}

/// Which battery: in lower case, and by the lake's words for the usual two.
fn position(text: &str) -> String {
    let text = text.trim().to_lowercase();
    match text.as_str() {
        "aux" | "secondary" => "auxiliary".to_owned(),
        "primary" => "main".to_owned(),
        _ => text,
    }
}

/// Yes or no, in the usual ways to write it.
pub fn flag(text: &str) -> Option<bool> {
    let is = |words: &[&str]| {
        words
            .iter()
            .any(|word| word.eq_ignore_ascii_case(text.trim()))
    };
    if is(&["yes", "y", "true", "t", "1", "x"]) {
        Some(true)
    } else if is(&["no", "n", "false", "f", "0"]) {
        Some(false)
    } else {
        None
    }
}

/// Whether a mapping's constant reads as the field's value, in the lake's own form.
pub fn check_constant(field: &'static str, text: &str, zone: Tz) -> Result<(), String> {
    let Some(column) = super::dump::column(field) else {
        return Err(format!("no dump has a field {field}"));
    };
    let plan = FieldPlan {
        column,
        meaning: meaning(field),
        cells: Vec::new(),
        formats: Formats::default(),
        constant: None,
        words: Default::default(),
        required: false,
    };
    let format = CellFormat {
        marks: Marks::default(),
        zone,
        blanks: &[],
    };
    read(&plan, None, text, &format)
        .map(|_| ())
        .map_err(|fault| format!("is {fault}"))
}
