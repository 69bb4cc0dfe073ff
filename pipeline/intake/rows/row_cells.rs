//! The cells of one record, field by field: the text of each, and its value.
//!
//! What the values of a row say together is left to [`row`](super::row).

use std::borrow::Cow;

use chrono_tz::Tz;

use crate::fault::Fault;
use crate::fields::cell::{self, CellFormat, Value};
use crate::fields::field_plan::FieldPlan;
use crate::fields::meaning::{Meaning, reading};
use crate::forms::record::Record;
use crate::mapping::header_layout::HeaderLayout;

/// Reads the cells of the records under one header.
pub struct RowCells<'p> {
    pub layout: &'p HeaderLayout,
    pub format: CellFormat<'p>,
}

impl<'p> RowCells<'p> {
    pub fn new(layout: &'p HeaderLayout) -> RowCells<'p> {
        let mapping = &layout.mapping;
        RowCells {
            layout,
            format: CellFormat {
                marks: mapping.marks,
                zone: mapping.zone,
                blanks: &mapping.blanks,
            },
        }
    }

    /// The text a field is read from, with the column it stands in; `None` when all are blank.
    pub fn text<'r>(&self, field: &FieldPlan, record: &'r Record) -> Option<(usize, Cow<'r, str>)> {
        let filled = |index: &usize| !cell::is_blank(record.cell(*index), &self.format);
        let mut places = field.cells.iter().map(|plan| plan.index).filter(filled);
        let first = places.next()?;
        let text = Cow::Borrowed(record.cell(first));
        match field.meaning {
            Meaning::Text | Meaning::Day(_) | Meaning::Instant(_) => {
                let joined = places.fold(text, |text, index| {
                    Cow::Owned(format!("{} {}", text.trim(), record.cell(index).trim()))
                });
                Some((first, joined))
            }
            _ => Some((first, text)),
        }
    }

    /// The field's value, or the constant where all its cells are blank.
    pub fn value<'r>(
        &self,
        field: &FieldPlan,
        constant: &Value<'static>,
        record: &'r Record,
    ) -> Result<Value<'r>, Fault> {
        let Some((index, text)) = self.text(field, record) else {
            return Ok(constant.clone());
        };
        let cell_plan = field.cells.iter().find(|plan| plan.index == index);
        match text {
            Cow::Borrowed(text) => cell::read(field, cell_plan, text, &self.format),
            Cow::Owned(text) => cell::read(field, cell_plan, &text, &self.format).map(owned),
        }
    }

    /// Whether the text, standing in that field's place, would be read without fault.
    pub fn would_read(&self, field: &FieldPlan, text: &str) -> bool {
        let cell_plan = field.cells.first();
        match field.meaning {
            Meaning::Reading => {
                let quantity = cell_plan
                    .and_then(|plan| plan.measured_kind)
                    .and_then(reading);
                quantity.is_some_and(|quantity| {
                    cell::read_quantity(field.column.name, &quantity, cell_plan, text, &self.format)
                        .is_ok()
                })
            }
            _ => cell::read(field, cell_plan, text, &self.format).is_ok(),
        }
    }
}

/// A field's constant, which the mapping's reader has checked; it is written as the lake would.
pub fn constant(field: &FieldPlan, zone: Tz) -> Value<'static> {
    let Some(text) = &field.constant else {
        return Value::Missing;
    };
    let format = CellFormat {
        marks: Default::default(),
        zone,
        blanks: &[],
    };
    let plain = FieldPlan {
        formats: Default::default(),
        ..field.clone()
    };
    cell::read(&plain, None, text, &format).map_or(Value::Missing, owned)
}

/// The value with its text its own, free of the record it was read from.
fn owned<'r>(value: Value<'_>) -> Value<'r> {
    match value {
        Value::Text(text) => Value::Text(Cow::Owned(text.into_owned())),
        Value::Missing => Value::Missing,
        Value::Day(day) => Value::Day(day),
        Value::Instant(instant) => Value::Instant(instant),
        Value::Whole(whole) => Value::Whole(whole),
        Value::Number(number) => Value::Number(number),
        Value::Flag(flag) => Value::Flag(flag),
    }
}
