//! Tables as files: one list of columns gives the CSV and the sheet of the workbook.
//!
//! In the CSV, text that a spreadsheet would take for a formula is led by an apostrophe. In the
//! workbook every column has its real type, the header stays in view and filters, and text is never
//! a formula. It fails when a workbook cannot be put together, which names the sheet.

use std::borrow::Cow;

use chrono::{Datelike, NaiveDate};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError,
};

use super::workbook_origin::named_as_ours;
use super::{ReportError, cells};

/// The longest text a workbook's cell takes.
const CELL_LETTERS: usize = 32_767;

/// The rows a workbook's sheet takes below its header (ECMA-376: 1,048,576 in all).
const SHEET_ROWS: usize = 1_048_575;

/// The longest name of a workbook's sheet.
const NAME_LETTERS: usize = 31;

/// How a column's values are kept and shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Text,
    Integer,
    /// A number shown with so many digits.
    Number(usize),
    /// A share of one, shown in per cent in the workbook.
    Share,
    /// An amount of the fleet's currency.
    Money,
    /// A calendar day, given as `YYYY-MM-DD`.
    Day,
    Flag,
}

/// One value.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    Missing,
    Text(String),
    Number(f64),
    Flag(bool),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Cell::Text(text.to_owned())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Cell::Text(text)
    }
}

impl From<&String> for Cell {
    fn from(text: &String) -> Self {
        Cell::Text(text.clone())
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        match number.is_finite() {
            true => Cell::Number(number),
            false => Cell::Missing,
        }
    }
}

impl From<i64> for Cell {
    fn from(number: i64) -> Self {
        Cell::Number(number as f64)
    }
}

impl From<bool> for Cell {
    fn from(flag: bool) -> Self {
        Cell::Flag(flag)
    }
}

impl<T: Into<Cell>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Self {
        value.map_or(Cell::Missing, Into::into)
    }
}

/// A column: its name, its kind, and how a row gives its value.
pub struct Column<'a, T> {
    name: Cow<'static, str>,
    kind: Kind,
    value: Box<dyn Fn(&T) -> Cell + 'a>,
}

/// A column whose values `value` takes from a row.
pub fn column<'a, T, V: Into<Cell>>(
    name: impl Into<Cow<'static, str>>,
    kind: Kind,
    value: impl Fn(&T) -> V + 'a,
) -> Column<'a, T> {
    Column {
        name: name.into(),
        kind,
        value: Box::new(move |row| value(row).into()),
    }
}

/// A table ready to be written.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// Its CSV is `NAME.csv`, and so its sheet is called.
    pub name: String,
    pub columns: Vec<(String, Kind)>,
    pub rows: Vec<Vec<Cell>>,
}

impl Sheet {
    pub fn new<T>(name: &str, rows: &[T], columns: Vec<Column<'_, T>>) -> Self {
        Self {
            name: name.to_owned(),
            rows: rows
                .iter()
                .map(|row| columns.iter().map(|column| (column.value)(row)).collect())
                .collect(),
            columns: columns
                .iter()
                .map(|column| (cells::spreadsheet(&column.name), column.kind))
                .collect(),
        }
    }

    /// The table as CSV (RFC 4180, UTF-8).
    pub fn csv(&self) -> Result<Vec<u8>, ReportError> {
        let failed = |error: csv::Error| self.failed(error);
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer
            .write_record(self.columns.iter().map(|(name, _)| name))
            .map_err(failed)?;
        for row in &self.rows {
            let cells = row
                .iter()
                .zip(&self.columns)
                .map(|(cell, (_, kind))| written(cell, *kind));
            writer.write_record(cells).map_err(failed)?;
        }
        writer
            .into_inner()
            .map_err(|error| self.failed(error.into_error()))
    }

    fn failed(&self, error: impl std::error::Error + Send + Sync + 'static) -> ReportError {
        ReportError::Table {
            table: self.name.clone(),
            source: Box::new(error),
        }
    }
}

fn written(cell: &Cell, kind: Kind) -> String {
    match cell {
        Cell::Missing => String::new(),
        Cell::Text(text) => cells::spreadsheet(text),
        Cell::Flag(flag) => flag.to_string(),
        Cell::Number(number) => {
            let digits = match kind {
                Kind::Integer | Kind::Money => 0,
                Kind::Number(digits) => digits,
                _ => 4,
            };
            let text = format!("{number:.digits$}");
            // What rounds to nought has no sign.
            match text.strip_prefix('-') {
                Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => {
                    rest.to_owned()
                }
                _ => text,
            }
        }
    }
}

/// All tables as one workbook. `as_of` is the day it says it was made.
pub fn workbook(title: &str, as_of: NaiveDate, sheets: &[Sheet]) -> Result<Vec<u8>, ReportError> {
    let mut workbook = Workbook::new();
    let failed = |name: &str| {
        let table = name.to_owned();
        move |error: XlsxError| ReportError::Table {
            table,
            source: Box::new(error),
        }
    };
    // The day reported on rather than the present: the same report is the same bytes.
    let day = excel_day(as_of).map_err(failed("workbook"))?;
    workbook.set_properties(
        &DocProperties::new()
            .set_title(title)
            .set_creation_datetime(&day),
    );
    for sheet in sheets {
        for (name, rows) in pages(sheet, SHEET_ROWS) {
            // Rows that are done lie in a temporary file: a large fleet's cells take gigabytes.
            let page = workbook.add_worksheet_with_low_memory();
            fill(page, &name, sheet, rows).map_err(failed(&sheet.name))?;
        }
    }
    let bytes = workbook.save_to_buffer().map_err(failed("workbook"))?;
    named_as_ours(&bytes).map_err(|error| ReportError::Table {
        table: "workbook".to_owned(),
        source: Box::new(error),
    })
}

fn excel_day(day: NaiveDate) -> Result<ExcelDateTime, XlsxError> {
    let year = u16::try_from(day.year()).unwrap_or_default();
    ExcelDateTime::from_ymd(year, day.month() as u8, day.day() as u8)
}

/// A table's rows as far as a sheet takes so many, the rest in further ones: "ranking", "ranking 2".
fn pages(sheet: &Sheet, most: usize) -> Vec<(String, &[Vec<Cell>])> {
    let count = sheet.rows.len().div_ceil(most).max(1);
    let page = |page: usize| {
        let number = match page {
            0 => String::new(),
            later => format!(" {}", later + 1),
        };
        let room = NAME_LETTERS.saturating_sub(number.len());
        let name: String = sheet.name.chars().take(room).collect();
        let end = sheet.rows.len().min((page + 1) * most);
        (name + &number, &sheet.rows[page * most..end])
    };
    (0..count).map(page).collect()
}

fn fill(
    page: &mut Worksheet,
    name: &str,
    sheet: &Sheet,
    rows: &[Vec<Cell>],
) -> Result<(), XlsxError> {
    page.set_name(name)?;
    let header = Format::new()
        .set_bold()
        .set_border_bottom(FormatBorder::Thin)
        .set_text_wrap();
    let mut last = (0u32, 0u16);
    for (at, (name, kind)) in (0u16..).zip(&sheet.columns) {
        let name: String = name.replace('_', " ").chars().take(CELL_LETTERS).collect();
        page.write_string_with_format(0, at, name, &header)?;
        page.set_column_width(at, width(sheet, usize::from(at), *kind))?;
        last.1 = at;
    }
    let formats: Vec<Format> = sheet
        .columns
        .iter()
        .map(|(_, kind)| format(*kind))
        .collect();
    for (at, row) in (1u32..).zip(rows) {
        for ((column, cell), (format, (_, kind))) in
            (0u16..).zip(row).zip(formats.iter().zip(&sheet.columns))
        {
            match cell {
                Cell::Missing => {}
                Cell::Flag(flag) => {
                    page.write_boolean(at, column, *flag)?;
                }
                Cell::Number(number) => {
                    page.write_number_with_format(at, column, twelve_digits(*number), format)?;
                }
                Cell::Text(text) => match (*kind, text.parse::<NaiveDate>()) {
                    (Kind::Day, Ok(day)) if day.year() >= 1900 => {
                        page.write_datetime_with_format(at, column, excel_day(day)?, format)?;
                    }
                    _ => {
                        let text: String = text.chars().take(CELL_LETTERS).collect();
                        page.write_string_with_format(at, column, text, format)?;
                    }
                },
            }
        }
        last.0 = at;
    }
    page.set_freeze_panes(1, 0)?;
    if !sheet.columns.is_empty() {
        page.autofilter(0, 0, last.0.max(1), last.1)?;
        page.set_repeat_rows(0, 0)?;
    }
    page.set_landscape();
    page.set_print_fit_to_pages(1, 0);
    Ok(())
}

fn format(kind: Kind) -> Format {
    let top = Format::new().set_align(FormatAlign::Top);
    match kind {
        Kind::Text | Kind::Flag => top,
        Kind::Integer => top.set_num_format("#,##0"),
        Kind::Number(digits) => top.set_num_format(match digits {
            0 => "#,##0".to_owned(),
            digits => format!("#,##0.{}", "0".repeat(digits)),
        }),
        Kind::Share => top.set_num_format("0.0%"),
        Kind::Money => top.set_num_format("#,##0"),
        Kind::Day => top.set_num_format("yyyy-mm-dd"),
    }
}

/// Wide enough for most of what the column holds.
fn width(sheet: &Sheet, column: usize, kind: Kind) -> f64 {
    let header = sheet.columns[column]
        .0
        .split('_')
        .map(str::len)
        .max()
        .unwrap_or(0);
    let longest = sheet
        .rows
        .iter()
        .filter_map(|row| row.get(column))
        .map(|cell| written(cell, kind).chars().count())
        .max()
        .unwrap_or(0);
    (longest.max(header) as f64 + 3.0).clamp(8.0, 60.0)
}

/// A number as far as it means something: beyond its twelfth digit it depends on how a processor adds up, and the
/// same report is to be the same file everywhere.
fn twelve_digits(number: f64) -> f64 {
    format!("{number:.11e}").parse().unwrap_or(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_sheet_does_not_take_stands_in_further_ones() {
        let rows: Vec<i64> = (0..7).collect();
        let columns = vec![column("n", Kind::Integer, |row: &i64| *row)];
        let name = "a name of more letters than thirty-one";
        let sheet = Sheet::new(name, &rows, columns);
        let told: Vec<(String, usize)> = pages(&sheet, 3)
            .into_iter()
            .map(|(name, rows)| (name, rows.len()))
            .collect();
        let named = |name: &str, rows| (name.to_owned(), rows);
        assert_eq!(
            told,
            [
                named("a name of more letters than thi", 3),
                named("a name of more letters than t 2", 3),
                named("a name of more letters than t 3", 1)
            ]
        );
        let none = Sheet::new::<i64>("none", &[], Vec::new());
        assert_eq!(pages(&none, 3), [("none".to_owned(), &[][..])]);
    }

    #[test]
    fn a_number_is_told_to_twelve_digits() {
        assert_eq!(twelve_digits(0.205_988_255_050_697_07), 0.205_988_255_051);
        assert_eq!(twelve_digits(-175.860_613_688_751_8), -175.860_613_689);
        assert_eq!(twelve_digits(0.0), 0.0);
        assert!(twelve_digits(f64::NAN).is_nan());
    }
}
