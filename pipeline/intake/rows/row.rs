//! One record to one row of values, or the fault that keeps it out.
//!
//! All fields are read before a fault is told, so that a slip between two columns can be seen for
//! what it is. What a line says without a cell for it is left to
//! [`complete_row`](super::complete_row), what no real row can say to
//! [`plausible`](super::plausible).

use std::borrow::Cow;

use chrono::{DateTime, Utc};

use super::complete_row::CompleteRow;
use super::plausible::Plausible;
use super::row_cells::{RowCells, constant};
use super::swapped;
use crate::fault::Fault;
use crate::fields::cell::{self, Value};
use crate::fields::meaning::{Meaning, reading};
use crate::fields::moment::epoch_days;
use crate::forms::delimited::check_width;
use crate::forms::record::Record;
use crate::mapping::header_layout::HeaderLayout;

/// Cells that tell a code together with its text.
const PARTS_OF_A_CODE: &[&str] = &["failure_type", "spn", "fmi"];

/// Reads the rows under one header.
pub struct RowReader<'p> {
    layout: &'p HeaderLayout,
    cells: RowCells<'p>,
    /// What a blank cell of each field stands for.
    constants: Vec<Value<'static>>,
    complete: CompleteRow,
    plausible: Plausible,
    measured_kind: Option<usize>,
    /// Places of local days and of the instants they are the days of.
    local_days: Vec<(usize, usize)>,
}

impl<'p> RowReader<'p> {
    /// Dates after `now` are taken for slips.
    pub fn new(layout: &'p HeaderLayout, now: DateTime<Utc>) -> RowReader<'p> {
        RowReader {
            layout,
            cells: RowCells::new(layout),
            constants: layout
                .fields
                .iter()
                .map(|field| constant(field, layout.mapping.zone))
                .collect(),
            complete: CompleteRow::new(layout),
            plausible: Plausible::new(layout, now),
            measured_kind: layout.place("measured_kind"),
            local_days: layout
                .fields
                .iter()
                .enumerate()
                .filter_map(|(place, field)| Some((place, field.column.local_day_of?)))
                .filter_map(|(place, instant)| Some((place, layout.place(instant)?)))
                .collect(),
        }
    }

    /// The values of the layout's fields, in its order, and the faults of cells that were left out. The
    /// fault is that of a row that cannot be used: without a cell it must have, or with cells by which it
    /// is known that contradict each other.
    pub fn read<'r>(&self, record: &'r Record) -> Result<(Vec<Value<'r>>, Vec<Fault>), Fault> {
        if self.repeats_header(record) {
            return Err(Fault::line(
                "the header stands here again",
                "two exports may have been joined",
            ));
        }
        check_width(record, self.layout.header.len())?;
        let mut values = Vec::with_capacity(self.layout.fields.len());
        let mut faults = Vec::new();
        for (field, constant) in self.layout.fields.iter().zip(&self.constants) {
            values.push(
                self.cells
                    .value(field, constant, record)
                    .unwrap_or_else(|fault| {
                        faults.push(fault);
                        Value::Missing
                    }),
            );
        }
        self.read_reading(record, &mut values, &mut faults);
        if faults.iter().all(|fault| self.may_leave_out(fault)) {
            self.complete.row(&mut values, &mut faults);
            self.plausible.row(&values, &mut faults);
        }
        self.missing(&values, &mut faults);
        if !faults.iter().all(|fault| self.may_leave_out(fault)) {
            return Err(self.told(record, faults));
        }
        for fault in &faults {
            if let Some(place) = fault.field.and_then(|field| self.layout.place(field)) {
                values[place] = Value::Missing;
            }
        }
        self.fill_local_days(record, &mut values);
        Ok((values, faults))
    }

    /// What each field's cell says by itself, in the layout's order, whatever the row as a whole is worth; one
    /// that cannot be read is missing.
    pub fn each_cell<'r>(&self, record: &'r Record) -> Vec<Value<'r>> {
        self.layout
            .fields
            .iter()
            .zip(&self.constants)
            .map(|(field, constant)| {
                self.cells
                    .value(field, constant, record)
                    .unwrap_or(Value::Missing)
            })
            .collect()
    }

    /// Whether the row can be used without the cell at fault: it need not be there, and the row is not
    /// known by it.
    fn may_leave_out(&self, fault: &Fault) -> bool {
        let Some(name) = fault.field else {
            return false;
        };
        let is_known_by = |name: &str| {
            PARTS_OF_A_CODE.contains(&name)
                || self
                    .layout
                    .kind()
                    .tables()
                    .iter()
                    .any(|table| table.key.contains(&name))
        };
        fault.is_of_cell
            && !is_known_by(name)
            && self
                .layout
                .fields
                .iter()
                .any(|field| field.column.name == name && !field.required)
    }

    /// The local day of each instant, where the dump does not give it.
    fn fill_local_days(&self, record: &Record, values: &mut [Value<'_>]) {
        for (place, instant) in &self.local_days {
            if !values[*place].is_missing() {
                continue;
            }
            let Value::Instant(at) = values[*instant] else {
                continue;
            };
            let field = &self.layout.fields[*instant];
            let zone = self.layout.mapping.zone;
            let day = match self.cells.text(field, record) {
                Some((_, text)) => field.formats.local_day(&text, zone),
                None => DateTime::from_timestamp_micros(at)
                    .map(|at| at.with_timezone(&zone).date_naive()),
            };
            if let Some(day) = day {
                values[*place] = Value::Day(epoch_days(day));
            }
        }
    }

    /// A test's reading, once its kind is known from its column or from the row.
    fn read_reading(&self, record: &Record, values: &mut [Value<'_>], faults: &mut Vec<Fault>) {
        let readings = self
            .layout
            .fields
            .iter()
            .enumerate()
            .filter(|(_, field)| matches!(field.meaning, Meaning::Reading));
        for (place, field) in readings {
            let Value::Text(text) = std::mem::replace(&mut values[place], Value::Missing) else {
                continue;
            };
            let cell_plan = self
                .cells
                .text(field, record)
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
            let name = field.column.name;
            match cell::read_quantity(name, &quantity, cell_plan, &text, &self.cells.format) {
                Ok(number) => values[place] = Value::Number(number),
                Err(fault) => faults.push(fault),
            }
        }
    }

    fn missing(&self, values: &[Value<'_>], faults: &mut Vec<Fault>) {
        for (field, value) in self.layout.fields.iter().zip(values) {
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
            .find_map(|fault| swapped::explain(&self.cells, record, fault));
        if let Some(fault) = swap {
            return fault;
        }
        let mut faults = faults.into_iter();
        let Some(mut first) = faults.next() else {
            return Fault::line("not read", "");
        };
        // That a row is of no use without its cells follows from their faults.
        let others: Vec<&str> = faults
            .filter(|fault| fault.is_of_cell)
            .filter_map(|fault| fault.field)
            .collect();
        if !others.is_empty() {
            first.detail = format!("{}; also at fault: {}", first.detail, others.join(", "));
        }
        first
    }

    fn repeats_header(&self, record: &Record) -> bool {
        record.len() == self.layout.header.len()
            && record
                .cells()
                .zip(&self.layout.header)
                .all(|(cell, name)| cell.trim() == name)
    }
}
