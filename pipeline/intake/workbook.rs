//! The sheets of a workbook (.xlsx, .xlsb, .xls, .ods) as records.
//!
//! A date cell becomes an ISO date, a number cell a number with the mapping's decimal mark, so both
//! are read as in any other form. Rows keep their number in the sheet. A workbook is held in memory.

use std::io::{self, Cursor};
use std::panic::{AssertUnwindSafe, catch_unwind};

use calamine::{Data, ExcelDateTime, Range, Reader, open_workbook_auto_from_rs};

use super::error::IntakeError;
use super::record::{Record, Records, Step};

/// One sheet that holds something.
pub struct Sheet {
    pub name: String,
    cells: Range<Data>,
}

/// The sheets of a workbook, in its order.
pub fn sheets(file: &str, bytes: Vec<u8>) -> Result<Vec<Sheet>, IntakeError> {
    let damaged = |evidence: String| IntakeError::Damaged {
        file: file.to_owned(),
        evidence,
    };
    // The reader is another's; should it panic on a damaged file, this is one damaged file.
    let read = catch_unwind(AssertUnwindSafe(|| read_sheets(bytes)));
    let sheets = read
        .unwrap_or_else(|_| Err("it cannot be taken apart".to_owned()))
        .map_err(damaged)?;
    if sheets.is_empty() {
        return Err(IntakeError::Empty {
            file: file.to_owned(),
        });
    }
    Ok(sheets)
}

fn read_sheets(bytes: Vec<u8>) -> Result<Vec<Sheet>, String> {
    let mut workbook =
        open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let mut sheets = Vec::new();
    for name in workbook.sheet_names() {
        // A sheet that is a chart has no cells.
        let Ok(cells) = workbook.worksheet_range(&name) else {
            continue;
        };
        if !cells.is_empty() {
            sheets.push(Sheet { name, cells });
        }
    }
    Ok(sheets)
}

impl Sheet {
    /// The first row with cells after `skip_lines` rows.
    pub fn header(&self, skip_lines: usize) -> Option<Vec<String>> {
        let (_, row) = self.rows(skip_lines).next()?;
        Some(
            row.iter()
                .map(|cell| text(cell, '.').trim().to_owned())
                .collect(),
        )
    }

    /// The rows below the header.
    pub fn records(self, skip_lines: usize, decimal: char) -> SheetRecords {
        let header_at = self.rows(skip_lines).next().map_or(0, |(number, _)| number);
        SheetRecords {
            sheet: self,
            header_at,
            after: header_at,
            decimal,
        }
    }

    /// Rows that hold something after the sheet's first `skip_lines`, with their number from 1.
    fn rows(&self, skip_lines: usize) -> impl Iterator<Item = (usize, &[Data])> {
        let first = self.cells.start().map_or(0, |(row, _)| row as usize);
        let numbered = self
            .cells
            .rows()
            .enumerate()
            .map(move |(index, row)| (first + index + 1, row));
        numbered.filter(move |(number, row)| {
            *number > skip_lines && row.iter().any(|cell| *cell != Data::Empty)
        })
    }
}

/// The records of a sheet.
pub struct SheetRecords {
    sheet: Sheet,
    header_at: usize,
    /// The number of the last row given.
    after: usize,
    decimal: char,
}

impl Records for SheetRecords {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        let first = self.sheet.cells.start().map_or(0, |(row, _)| row as usize);
        let (height, width) = self.sheet.cells.get_size();
        while self.after < first + height {
            let number = self.after + 1;
            self.after = number;
            if number <= self.header_at.max(first) {
                continue;
            }
            record.start(number as u64);
            for column in 0..width {
                let cell = self
                    .sheet
                    .cells
                    .get((number - first - 1, column))
                    .unwrap_or(&Data::Empty);
                record.push(&text(cell, self.decimal));
            }
            if !record.is_blank() {
                record.raw = record.cells().collect::<Vec<_>>().join(" | ");
                return Ok(Some(Step::Row));
            }
        }
        Ok(None)
    }
}

/// A cell as text.
fn text(cell: &Data, decimal: char) -> String {
    match cell {
        Data::Empty => String::new(),
        Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) => text.clone(),
        Data::Float(number) => number_text(&number.to_string(), decimal),
        Data::Int(number) => number.to_string(),
        Data::Bool(flag) => flag.to_string(),
        Data::DateTime(moment) => moment_text(moment),
        Data::Error(error) => error.to_string(),
    }
}

/// A number in plain form, with the decimal mark it will be read by.
pub fn number_text(number: &str, decimal: char) -> String {
    if decimal == '.' {
        number.to_owned()
    } else {
        number.replace('.', &decimal.to_string())
    }
}

/// A date without a time, or a time without a date, is written without the other.
fn moment_text(moment: &ExcelDateTime) -> String {
    let value = moment.as_f64();
    if moment.is_duration() {
        // A length of time, in hours: a sheet's days are its unit.
        return (value * 24.0).to_string();
    }
    let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
    let date = format!("{year:04}-{month:02}-{day:02}");
    let time = format!("{hour:02}:{minute:02}:{second:02}");
    if value < 1.0 {
        time
    } else if value.fract() == 0.0 {
        date
    } else {
        format!("{date} {time}")
    }
}
