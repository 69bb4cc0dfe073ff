//! The sheets of a workbook (.xlsx, .xlsb, .xls, .ods) as records.
//!
//! A date cell becomes an ISO date, a number cell a number with the mapping's decimal mark, so both
//! are read as in any other form. Rows keep their number in the sheet. A workbook's bytes and one sheet
//! at a time are held in memory, of a sheet only the cells that hold something; a sheet that would not
//! fit, or is damaged, is left out and the others are read.

use std::convert::Infallible;
use std::fmt::Display;
use std::io::{self, Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use calamine::{
    Cell, Data, ExcelDateTime, Ods, OdsError, Range, Reader, Xls, XlsError, Xlsb, XlsbError, Xlsx,
    XlsxError, open_workbook_from_rs,
};
use zip::ZipArchive;

use super::record::{CELLS_OF_NO_TEXT, Record, Records, Step};
use crate::error::IntakeError;
use settings::Limits;
use settings::limits::{bytes_of_mb, count};

const SAVE_AGAIN: &str =
    "copy it again, or open it in a spreadsheet program and save it anew; nothing of it was loaded";

type Bytes = Cursor<Arc<[u8]>>;

/// One sheet that holds something.
pub struct Sheet {
    pub name: String,
    /// The cells that hold something, by row and column.
    cells: Vec<Cell<Data>>,
    first_column: u32,
    width: usize,
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

/// What is done with each sheet, or with why it is not read. Its own error ends the visit.
pub type VisitSheet<'v> = dyn FnMut(Result<Sheet, IntakeError>) -> Result<(), IntakeError> + 'v;

/// Gives each sheet of a workbook that holds something to `visit`, in its order.
pub fn visit_sheets(
    file: &str,
    bytes: Vec<u8>,
    limits: &Limits,
    visit: &mut VisitSheet<'_>,
) -> Result<(), IntakeError> {
    let refused = |file: &str, Refused { evidence, remedy }: Refused| IntakeError::Form {
        file: file.to_owned(),
        evidence,
        remedy,
    };
    let mut book =
        guarded(|| Book::open(bytes.into(), limits)).map_err(|why| refused(file, why))?;
    let mut cells_left = count(limits.workbook_cells);
    let mut any = false;
    for name in book.names() {
        match guarded(|| book.sheet(&name, &mut cells_left)) {
            Ok(None) => continue,
            Ok(Some(sheet)) => visit(Ok(sheet))?,
            Err(why) => visit(Err(refused(&format!("{file}/{name}"), why)))?,
        }
        any = true;
    }
    match any {
        true => Ok(()),
        false => Err(IntakeError::Empty {
            file: file.to_owned(),
        }),
    }
}

/// The reader is another's; should it panic on a damaged file, this is one damaged file.
fn guarded<T>(read: impl FnOnce() -> Result<T, Refused>) -> Result<T, Refused> {
    catch_unwind(AssertUnwindSafe(read))
        .unwrap_or_else(|_| Err(Refused::damaged("it cannot be taken apart")))
}

/// A workbook of one of the forms.
enum Book {
    Old(Box<Xls<Bytes>>),
    OpenDocument(Box<Ods<Bytes>>),
    OpenXml(Box<Xlsx<Bytes>>),
    Binary(Box<Xlsb<Bytes>>),
}

impl Book {
    /// The form is told by the bytes: a compound file, or a zip by the names of its members.
    fn open(bytes: Arc<[u8]>, limits: &Limits) -> Result<Book, Refused> {
        let file = Cursor::new(Arc::clone(&bytes));
        if !bytes.starts_with(b"PK") {
            return Ok(Book::Old(Box::new(open_old(&bytes)?)));
        }
        let names = checked_members(file.clone(), limits)?;
        let is = |wanted: &str| names.iter().any(|name| name.eq_ignore_ascii_case(wanted));
        let ends = |ending: &str| names.iter().any(|name| name.ends_with(ending));
        Ok(if is("content.xml") {
            Book::OpenDocument(Box::new(
                open_workbook_from_rs(file).map_err(Refused::damaged)?,
            ))
        } else if ends("workbook.bin") {
            Book::Binary(Box::new(
                open_workbook_from_rs(file).map_err(Refused::damaged)?,
            ))
        } else if is("[Content_Types].xml") || ends("workbook.xml") {
            Book::OpenXml(Box::new(
                open_workbook_from_rs(file).map_err(Refused::damaged)?,
            ))
        } else {
            return Err(Refused {
                evidence: "is a zip without a workbook in it".to_owned(),
                remedy: "give it the ending of what it is; dumps in a zip are read from a .zip",
            });
        })
    }

    fn names(&self) -> Vec<String> {
        match self {
            Book::Old(book) => book.sheet_names(),
            Book::OpenDocument(book) => book.sheet_names(),
            Book::OpenXml(book) => book.sheet_names(),
            Book::Binary(book) => book.sheet_names(),
        }
    }

    /// The sheet of that name, none where it holds nothing.
    fn sheet(&mut self, name: &str, cells_left: &mut u64) -> Result<Option<Sheet>, Refused> {
        match self {
            Book::Old(book) => match book.worksheet_range(name) {
                Err(XlsError::WorksheetNotFound(_)) => Ok(None),
                read => gather(name, of_range(&read.map_err(Refused::damaged)?), cells_left),
            },
            Book::OpenDocument(book) => match book.worksheet_range(name) {
                Err(OdsError::WorksheetNotFound(_)) => Ok(None),
                read => gather(name, of_range(&read.map_err(Refused::damaged)?), cells_left),
            },
            Book::OpenXml(book) => {
                let mut reader = match book.worksheet_cells_reader(name) {
                    // A sheet that is a chart has no cells.
                    Err(XlsxError::NotAWorksheet(_)) => return Ok(None),
                    reader => reader.map_err(Refused::damaged)?,
                };
                let next = || reader.next_cell().transpose();
                let cells = std::iter::from_fn(next).map(|cell| cell.map(owned));
                gather(name, cells, cells_left)
            }
            Book::Binary(book) => {
                let mut reader = match book.worksheet_cells_reader(name) {
                    Err(XlsbError::WorksheetNotFound(_)) => return Ok(None),
                    reader => reader.map_err(Refused::damaged)?,
                };
                let next = || reader.next_cell().transpose();
                let cells = std::iter::from_fn(next).map(|cell| cell.map(owned));
                gather(name, cells, cells_left)
            }
        }
    }
}

/// The names of a zip's members, once what they unpack to is known to be little enough. A zip may
/// state less than it holds, so each is unpacked, and thrown away.
fn checked_members(file: Bytes, limits: &Limits) -> Result<Vec<String>, Refused> {
    let mut archive = ZipArchive::new(file).map_err(Refused::damaged)?;
    let too_large = || Refused {
        evidence: format!(
            "is a workbook larger than {} MiB when unpacked",
            limits.workbook_unpacked_mb
        ),
        remedy: "export its table as CSV, which is read in any size, or raise \
                 limits.workbook_unpacked_mb in voltwane.toml",
    };
    if archive.len() as u64 > count(limits.archive_members) {
        return Err(Refused {
            evidence: format!("is a workbook of {} members", archive.len()),
            remedy: "save it anew, or raise limits.archive_members in voltwane.toml",
        });
    }
    let (mut names, mut left) = (Vec::new(), bytes_of_mb(limits.workbook_unpacked_mb));
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

/// A compound file, such as spreadsheet programs wrote until 2007.
fn open_old(bytes: &Arc<[u8]>) -> Result<Xls<Bytes>, Refused> {
    let protected = || Refused {
        evidence: "is a workbook under a password".to_owned(),
        remedy: "save it without one",
    };
    // A newer workbook under a password is wrapped in a compound file, in this stream of it.
    let stream: Vec<u8> = "EncryptedPackage".bytes().flat_map(|b| [b, 0]).collect();
    open_workbook_from_rs(Cursor::new(Arc::clone(bytes))).map_err(|error| match error {
        XlsError::Password => protected(),
        _ if bytes.windows(stream.len()).any(|part| part == stream) => protected(),
        _ => Refused::damaged(error),
    })
}

fn of_range(range: &Range<Data>) -> impl Iterator<Item = Result<Cell<Data>, Infallible>> {
    let (row, column) = range.start().unwrap_or_default();
    range.used_cells().map(move |(down, along, value)| {
        // A sheet has no more rows and columns than a u32 counts.
        Ok(Cell::new(
            (row + down as u32, column + along as u32),
            value.clone(),
        ))
    })
}

fn owned(cell: Cell<calamine::DataRef<'_>>) -> Cell<Data> {
    Cell::new(cell.get_position(), cell.get_value().clone().into())
}

/// A sheet from its cells, none where all are empty. A cell far off would make its rows as wide, or
/// the reading of them as long, as the space between, so that space is limited, over all sheets.
fn gather<E: Display>(
    name: &str,
    cells: impl Iterator<Item = Result<Cell<Data>, E>>,
    cells_left: &mut u64,
) -> Result<Option<Sheet>, Refused> {
    let (mut kept, mut first, mut last) = (Vec::new(), (u32::MAX, u32::MAX), (0, 0));
    let mut span = 0;
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
        span = rows * columns;
        if span > *cells_left {
            return Err(Refused {
                evidence: format!("has cells as far apart as {rows} rows and {columns} columns"),
                remedy: "delete those far from the table, export the table as CSV, or raise \
                         limits.workbook_cells in voltwane.toml",
            });
        }
        kept.push(cell);
    }
    *cells_left -= span;
    if kept.is_empty() {
        return Ok(None);
    }
    // A sheet may give a cell out of order, or twice: the last one given stands.
    kept.sort_by_key(Cell::get_position);
    Ok(Some(Sheet {
        name: name.to_owned(),
        cells: kept,
        first_column: first.1,
        width: (last.1 - first.1) as usize + 1,
    }))
}

impl Sheet {
    /// The first row with cells after `skip_lines` rows.
    pub fn header(&self, skip_lines: usize) -> Option<Vec<String>> {
        let row = self.rows(skip_lines).next()?;
        let texts = self.texts(row, '.');
        Some(texts.iter().map(|text| text.trim().to_owned()).collect())
    }

    /// The rows below the header.
    pub fn records(self, skip_lines: usize, decimal: char) -> SheetRecords {
        let header = self.rows(skip_lines).next();
        let below = header.map_or(0, |row| {
            let end = row_number(row);
            self.cells
                .partition_point(|cell| (cell.get_position().0 as usize) < end)
        });
        SheetRecords {
            sheet: self,
            next: below,
            decimal,
        }
    }

    /// Rows that hold something after the sheet's first `skip_lines`.
    fn rows(&self, skip_lines: usize) -> impl Iterator<Item = &[Cell<Data>]> {
        self.cells
            .chunk_by(|a, b| a.get_position().0 == b.get_position().0)
            .filter(move |row| row_number(row) > skip_lines)
    }

    /// The texts of a row's cells, blank ones between them included.
    fn texts(&self, row: &[Cell<Data>], decimal: char) -> Vec<String> {
        let mut texts = vec![String::new(); self.width];
        for cell in row {
            let along = (cell.get_position().1 - self.first_column) as usize;
            texts[along] = text(cell.get_value(), decimal);
        }
        texts
    }
}

/// The number of a row in its sheet, from 1.
fn row_number(row: &[Cell<Data>]) -> usize {
    row.first()
        .map_or(0, |cell| cell.get_position().0 as usize + 1)
}

/// The records of a sheet.
pub struct SheetRecords {
    sheet: Sheet,
    /// The next cell.
    next: usize,
    decimal: char,
}

impl Records for SheetRecords {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        let rest = &self.sheet.cells[self.next..];
        let Some(row) = rest
            .chunk_by(|a, b| a.get_position().0 == b.get_position().0)
            .find(|row| {
                let texts = || row.iter().map(|cell| text(cell.get_value(), self.decimal));
                self.next += row.len();
                texts().any(|text| !text.trim().is_empty())
            })
        else {
            return Ok(None);
        };
        record.start(row_number(row) as u64);
        for cell in self.sheet.texts(row, self.decimal) {
            record.push(&cell);
        }
        record.raw = record.cells().collect::<Vec<_>>().join(CELLS_OF_NO_TEXT);
        Ok(Some(Step::Row))
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
