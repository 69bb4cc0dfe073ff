//! One record to one row of values, or the fault that keeps it out.
//!
//! All fields are read before a fault is told, so that a slip between two columns can be seen for
//! what it is. What a line says without a cell for it is left to [`settle`](super::settle), what no
//! real row can say to [`plausible`](super::plausible).

use std::borrow::Cow;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;

use super::cell::{self, Manner, Value};
use super::delimited::check_width;
use super::fault::Fault;
use super::meaning::{Meaning, reading};
use super::plan::{FieldPlan, Plan};
use super::plausible::Plausible;
use super::record::Record;
use super::settle::Settle;
use super::swapped;

/// Reads the rows of one plan.
pub struct RowReader<'p> {
    pub plan: &'p Plan,
    manner: Manner<'p>,
    /// What a blank cell of each field stands for.
    constants: Vec<Value<'static>>,
    settle: Settle,
    plausible: Plausible,
    measured_kind: Option<usize>,
}

impl<'p> RowReader<'p> {
    /// Dates after `now` are taken for slips.
    pub fn new(plan: &'p Plan, now: DateTime<Utc>) -> RowReader<'p> {
        let mapping = &plan.mapping;
        RowReader {
            plan,
            manner: Manner {
                marks: mapping.marks,
                zone: mapping.zone,
                blanks: &mapping.blanks,
            },
            constants: plan
                .fields
                .iter()
                .map(|field| constant(field, mapping.zone))
                .collect(),
            settle: Settle::new(plan),
            plausible: Plausible::new(plan, now),
            measured_kind: plan.place("measured_kind"),
        }
    }

    /// The values of the plan's fields, in its order.
    pub fn read<'r>(&self, record: &'r Record) -> Result<Vec<Value<'r>>, Fault> {
        if self.repeats_header(record) {
            return Err(Fault::line(
                "the header stands here again",
                "two exports may have been joined",
            ));
        }
        check_width(record, self.plan.header.len())?;
        let mut values = Vec::with_capacity(self.plan.fields.len());
        let mut faults = Vec::new();
        for (field, constant) in self.plan.fields.iter().zip(&self.constants) {
            values.push(self.value(field, constant, record).unwrap_or_else(|fault| {
                faults.push(fault);
                Value::Missing
            }));
        }
        self.read_reading(record, &mut values, &mut faults);
        if faults.is_empty() {
            self.settle.row(&mut values, &mut faults);
            self.plausible.row(&values, &mut faults);
        }
        self.missing(&values, &mut faults);
        match faults.len() {
            0 => Ok(values),
            _ => Err(self.told(record, faults)),
        }
    }

    /// The text a field is read from, with the column it stands in; `None` when all are blank.
    pub fn cell<'r>(&self, field: &FieldPlan, record: &'r Record) -> Option<(usize, Cow<'r, str>)> {
        let filled = |index: &usize| !cell::is_blank(record.cell(*index), &self.manner);
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

    fn value<'r>(
        &self,
        field: &FieldPlan,
        constant: &Value<'static>,
        record: &'r Record,
    ) -> Result<Value<'r>, Fault> {
        let Some((index, text)) = self.cell(field, record) else {
            return Ok(constant.clone());
        };
        let cell_plan = field.cells.iter().find(|plan| plan.index == index);
        match text {
            Cow::Borrowed(text) => cell::read(field, cell_plan, text, &self.manner),
            Cow::Owned(text) => cell::read(field, cell_plan, &text, &self.manner).map(owned),
        }
    }

    /// A test's reading, once its kind is known from its column or from the row.
    fn read_reading(&self, record: &Record, values: &mut [Value<'_>], faults: &mut Vec<Fault>) {
        let readings = self
            .plan
            .fields
            .iter()
            .enumerate()
            .filter(|(_, field)| matches!(field.meaning, Meaning::Reading));
        for (place, field) in readings {
            let Value::Text(text) = std::mem::replace(&mut values[place], Value::Missing) else {
                continue;
            };
            let cell_plan = self
                .cell(field, record)
                .and_then(|(index, _)| field.cells.iter().find(|plan| plan.index == index));
            let Some(kind_place) = self.measured_kind else {
                continue;
            };
            if let Some(kind) = cell_plan.and_then(|plan| plan.measured_kind) {
                values[kind_place] = Value::Text(Cow::Borrowed(kind));
            }
            let Some(quantity) = values[kind_place].text().and_then(reading) else {
                if faults
                    .iter()
                    .all(|fault| fault.field != Some("measured_kind"))
                {
                    let detail = format!("{text}; say what it is by measured_kind in the mapping");
                    faults.push(Fault::field(
                        "measured_kind",
                        "a reading without its kind",
                        detail,
                    ));
                }
                continue;
            };
            match cell::read_quantity(field.column.name, &quantity, cell_plan, &text, &self.manner)
            {
                Ok(number) => values[place] = Value::Number(number),
                Err(fault) => faults.push(fault),
            }
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
                    cell::read_quantity(field.column.name, &quantity, cell_plan, text, &self.manner)
                        .is_ok()
                })
            }
            _ => cell::read(field, cell_plan, text, &self.manner).is_ok(),
        }
    }

    fn missing(&self, values: &[Value<'_>], faults: &mut Vec<Fault>) {
        for (field, value) in self.plan.fields.iter().zip(values) {
            let name = field.column.name;
            if field.required
                && value.is_missing()
                && faults.iter().all(|fault| fault.field != Some(name))
            {
                faults.push(Fault::field(
                    name,
                    format!("{name} is missing"),
                    field.column.about,
                ));
            }
        }
    }

    /// The first fault, as a swap of columns if it is one, with the names of further fields at fault.
    fn told(&self, record: &Record, faults: Vec<Fault>) -> Fault {
        let swap = faults
            .iter()
            .find_map(|fault| swapped::explain(self, record, fault));
        if let Some(fault) = swap {
            return fault;
        }
        let mut faults = faults.into_iter();
        let Some(mut first) = faults.next() else {
            return Fault::line("not read", "");
        };
        let others: Vec<&str> = faults.filter_map(|fault| fault.field).collect();
        if !others.is_empty() {
            first.detail = format!("{}; also at fault: {}", first.detail, others.join(", "));
        }
        first
    }

    fn repeats_header(&self, record: &Record) -> bool {
        record.len() == self.plan.header.len()
            && record
                .cells()
                .zip(&self.plan.header)
                .all(|(cell, name)| cell.trim() == name)
    }
}

/// A field's constant, which the mapping's reader has checked; it is written as the lake would.
fn constant(field: &FieldPlan, zone: Tz) -> Value<'static> {
    let Some(text) = &field.constant else {
        return Value::Missing;
    };
    let manner = Manner {
        marks: Default::default(),
        zone,
        blanks: &[],
    };
    let plain = FieldPlan {
        formats: Default::default(),
        ..field.clone()
    };
    cell::read(&plain, None, text, &manner).map_or(Value::Missing, owned)
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
