//! The sheets of a workbook (.xlsx, .xlsb, .xls, .ods) as records.
//!
//! A date cell becomes an ISO date, a number cell a number with the mapping's decimal mark, so both
//! are read as in any other form. Rows keep their number in the sheet. A workbook is held in memory,
//! and one that would not fit is refused before it is.

use std::fmt::Display;
use std::io::{self, Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use calamine::{
    Cell, Data, ExcelDateTime, Ods, OdsError, Range, Reader, Xls, XlsError, Xlsb, XlsbError, Xlsx,
    XlsxError, open_workbook_from_rs,
};
use zip::ZipArchive;

use super::record::{Record, Records, Step};
use crate::error::IntakeError;

/// Bytes that the members of a workbook may unpack to.
const MOST_UNPACKED: u64 = 1 << 30;

/// Cells between a sheet's first and last, blank ones included: a sheet of 1,048,576 rows, which is
/// as many as there can be, and 32 columns.
const MOST_CELLS: u64 = 1 << 25;

const SAVE_AGAIN: &str =
    "copy it again, or open it in a spreadsheet program and save it anew; nothing of it was loaded";

type Bytes = Cursor<Arc<[u8]>>;

/// One sheet that holds something.
pub struct Sheet {
    pub name: String,
    cells: Range<Data>,
}

/// Why a workbook is not read, and what to do.
struct Refused {
    evidence: String,
    remedy: &'static str,
}

impl Refused {
    fn damaged(error: impl Display) -> Refused {
        Refused {
            evidence: format!("is a workbook that is cut off or damaged ({error})"),
            remedy: SAVE_AGAIN,
        }
    }
}

/// The sheets of a workbook, in its order.
pub fn sheets(file: &str, bytes: Vec<u8>) -> Result<Vec<Sheet>, IntakeError> {
    let refused = |Refused { evidence, remedy }| IntakeError::Form {
        file: file.to_owned(),
        evidence,
        remedy,
    };
    // The reader is another's; should it panic on a damaged file, this is one damaged file.
    let read = catch_unwind(AssertUnwindSafe(|| read_sheets(bytes.into())));
    let sheets = read
        .unwrap_or_else(|_| Err(Refused::damaged("it cannot be taken apart")))
        .map_err(refused)?;
    if sheets.is_empty() {
        return Err(IntakeError::Empty {
            file: file.to_owned(),
        });
    }
    Ok(sheets)
}

/// The form is told by the bytes: a compound file, or a zip by the names of its members.
fn read_sheets(bytes: Arc<[u8]>) -> Result<Vec<Sheet>, Refused> {
    let file = Cursor::new(Arc::clone(&bytes));
    if !bytes.starts_with(b"PK") {
        return old_sheets(&bytes);
    }
    let names = checked_members(file.clone())?;
    let is = |wanted: &str| names.iter().any(|name| name.eq_ignore_ascii_case(wanted));
    let ends = |ending: &str| names.iter().any(|name| name.ends_with(ending));
    if is("content.xml") {
        open_document_sheets(file)
    } else if ends("workbook.bin") {
        binary_sheets(file)
    } else if is("[Content_Types].xml") || ends("workbook.xml") {
        open_xml_sheets(file)
    } else {
        Err(Refused {
            evidence: "is a zip without a workbook in it".to_owned(),
            remedy: "give it the ending of what it is; dumps in a zip are read from a .zip",
        })
    }
}

/// The names of a zip's members, once what they unpack to is known to be little enough. A zip may
/// state less than it holds, so each is unpacked, and thrown away.
fn checked_members(file: Bytes) -> Result<Vec<String>, Refused> {
    let mut archive = ZipArchive::new(file).map_err(Refused::damaged)?;
    let too_large = || Refused {
        evidence: format!(
            "is a workbook larger than {} MiB when unpacked",
            MOST_UNPACKED >> 20
        ),
        remedy: "export its table as CSV, which is read in any size",
    };
    let (mut names, mut left) = (Vec::new(), MOST_UNPACKED);
    for index in 0..archive.len() {
        let member = archive.by_index(index).map_err(Refused::damaged)?;
        if member.size() > left {
            return Err(too_large());
        }
        names.push(member.name().to_owned());
        let unpacked = io::copy(&mut member.take(left + 1), &mut io::sink());
        left = left
            .checked_sub(unpacked.map_err(Refused::damaged)?)
            .ok_or_else(too_large)?;
    }
    Ok(names)
}

/// Sheets of a compound file, such as spreadsheet programs wrote until 2007.
fn old_sheets(bytes: &Arc<[u8]>) -> Result<Vec<Sheet>, Refused> {
    let protected = || Refused {
        evidence: "is a workbook under a password".to_owned(),
        remedy: "save it without one",
    };
    // A newer workbook under a password is wrapped in a compound file, in this stream of it.
    let stream: Vec<u8> = "EncryptedPackage".bytes().flat_map(|b| [b, 0]).collect();
    let mut workbook: Xls<Bytes> =
        open_workbook_from_rs(Cursor::new(Arc::clone(bytes))).map_err(|error| match error {
            XlsError::Password => protected(),
            _ if bytes.windows(stream.len()).any(|part| part == stream) => protected(),
            _ => Refused::damaged(error),
        })?;
    collect(workbook.sheet_names(), |name| {
        match workbook.worksheet_range(name) {
            Err(XlsError::WorksheetNotFound(_)) => Ok(Range::default()),
            read => read.map_err(Refused::damaged),
        }
    })
}

fn open_document_sheets(file: Bytes) -> Result<Vec<Sheet>, Refused> {
    let mut workbook: Ods<Bytes> = open_workbook_from_rs(file).map_err(Refused::damaged)?;
    collect(workbook.sheet_names(), |name| {
        match workbook.worksheet_range(name) {
            Err(OdsError::WorksheetNotFound(_)) => Ok(Range::default()),
            read => read.map_err(Refused::damaged),
        }
    })
}

fn open_xml_sheets(file: Bytes) -> Result<Vec<Sheet>, Refused> {
    let mut workbook: Xlsx<Bytes> = open_workbook_from_rs(file).map_err(Refused::damaged)?;
    collect(workbook.sheet_names(), |name| {
        let mut reader = match workbook.worksheet_cells_reader(name) {
            // A sheet that is a chart has no cells.
            Err(XlsxError::NotAWorksheet(_)) => return Ok(Range::default()),
            reader => reader.map_err(Refused::damaged)?,
        };
        let next = || reader.next_cell().transpose();
        gather(name, std::iter::from_fn(next).map(|cell| cell.map(owned)))
    })
}

fn binary_sheets(file: Bytes) -> Result<Vec<Sheet>, Refused> {
    let mut workbook: Xlsb<Bytes> = open_workbook_from_rs(file).map_err(Refused::damaged)?;
    collect(workbook.sheet_names(), |name| {
        let mut reader = match workbook.worksheet_cells_reader(name) {
            Err(XlsbError::WorksheetNotFound(_)) => return Ok(Range::default()),
            reader => reader.map_err(Refused::damaged)?,
        };
        let next = || reader.next_cell().transpose();
        gather(name, std::iter::from_fn(next).map(|cell| cell.map(owned)))
    })
}

fn owned(cell: Cell<calamine::DataRef<'_>>) -> Cell<Data> {
    Cell::new(cell.get_position(), cell.get_value().clone().into())
}

/// A sheet from its cells. A cell far off would make it as large as the space between.
fn gather<E: Display>(
    name: &str,
    cells: impl Iterator<Item = Result<Cell<Data>, E>>,
) -> Result<Range<Data>, Refused> {
    let (mut kept, mut first, mut last) = (Vec::new(), (u32::MAX, u32::MAX), (0, 0));
    for cell in cells {
        let cell = cell.map_err(Refused::damaged)?;
        if *cell.get_value() == Data::Empty {
            continue;
        }
        let (row, column) = cell.get_position();
        first = (first.0.min(row), first.1.min(column));
        last = (last.0.max(row), last.1.max(column));
        let rows = u64::from(last.0 - first.0) + 1;
        let columns = u64::from(last.1 - first.1) + 1;
        if rows * columns > MOST_CELLS {
            return Err(Refused {
                evidence: format!(
                    "has cells on the sheet \"{name}\" as far apart as {rows} rows and {columns} columns"
                ),
                remedy: "delete those far from the table, or export the table as CSV",
            });
        }
        kept.push(cell);
    }
    Ok(Range::from_sparse(kept))
}

fn collect(
    names: Vec<String>,
    mut read: impl FnMut(&str) -> Result<Range<Data>, Refused>,
) -> Result<Vec<Sheet>, Refused> {
    let mut sheets = Vec::new();
    for name in names {
        let cells = read(&name)?;
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
