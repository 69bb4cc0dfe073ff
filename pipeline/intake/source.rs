//! One table in a part: its header as a layout shows it, and its records, whatever its form.
//!
//! The form is told by the bytes, not by the file's name: workbooks, Parquet and Arrow by their
//! marks, JSON lines by the brace they start with, diagnostic logs by their lines, everything else
//! is delimited text, or free text where a mapping's patterns fit it.

use std::sync::Arc;

use super::error::IntakeError;
use super::fields::dump::DumpKind;
use super::files::container::Part;
use super::forms::columnar::{self, ColumnForm, Columns, column_form};
use super::forms::frame_text::LogLine;
use super::forms::json_lines::{self, JsonLines};
use super::forms::record::{CELLS_OF_NO_TEXT, Records};
use super::forms::report_text::Report;
use super::forms::scan_log::{self, ScanLog};
use super::forms::text::Layout;
use super::forms::text::{self, TextHead};
use super::forms::workbook::{self, Sheet};
use super::mapping::header_layout::HeaderLayout;
use super::mapping::mappings::Mappings;
use super::mapping::recognise::{own_mapping, recognise, recognise_text};
use super::mapping::shop_mapping::{Mapping, TextForm};
use super::mend::header_above;

/// A table that has not been read yet.
pub struct Source<'p> {
    /// As shown in messages.
    pub name: String,
    file_name: String,
    form: Form<'p>,
}

enum Form<'p> {
    Text(Part<'p>),
    JsonLines(Part<'p>),
    DiagnosticLog(Part<'p>),
    Sheet(Sheet),
    Columns(Columns),
}

/// What is done with each table, or with why it is not read. Its own error ends the visit.
pub type VisitSource<'v> =
    dyn FnMut(Result<Source<'_>, IntakeError>) -> Result<(), IntakeError> + 'v;

/// Gives each table of a part to `visit`.
pub fn visit_sources(part: Part<'_>, visit: &mut VisitSource<'_>) -> Result<(), IntakeError> {
    let (name, file_name) = (part.name.clone(), part.file_name.clone());
    if part.head.iter().all(u8::is_ascii_whitespace) {
        return Err(IntakeError::Empty { file: name });
    }
    if is_workbook(&part.head) {
        let limits = part.limits;
        return workbook::visit_sheets(&name, part.into_bytes()?, limits, &mut |sheet| {
            visit(sheet.map(|sheet| Source {
                name: format!("{name}/{}", sheet.name),
                file_name: file_name.clone(),
                form: Form::Sheet(sheet),
            }))
        });
    }
    let form = match column_form(&part.head) {
        Some(form) => Form::Columns(open_columns(form, part)?),
        None => text_form(part)?,
    };
    visit(Ok(Source {
        name,
        file_name,
        form,
    }))
}

fn open_columns(form: ColumnForm, part: Part<'_>) -> Result<Columns, IntakeError> {
    let (name, limits) = (part.name.clone(), part.limits);
    columnar::open(&name, form, part.into_file()?, limits)
}

fn text_form(part: Part<'_>) -> Result<Form<'_>, IntakeError> {
    let texts: Vec<String> = {
        let mut lines = TextHead::new(&part.name, &part.head)?.lines(&Layout::default());
        let lines = std::iter::from_fn(|| lines.next().ok().flatten());
        lines
            .map(|line| line.text.trim().to_owned())
            .filter(|text| !text.is_empty())
            .take(100)
            .collect()
    };
    if LogLine::fits(texts.iter().map(String::as_str)) {
        return Ok(Form::DiagnosticLog(part));
    }
    match texts.first().map_or(&b""[..], |text| text.as_bytes()) {
        [b'{', ..] => Ok(Form::JsonLines(part)),
        [b'[', b'{', ..] | [b'['] => Err(IntakeError::Form {
            file: part.name,
            evidence: "is one JSON array".to_owned(),
            remedy: "write it as JSON lines, one object a line",
        }),
        _ => Ok(Form::Text(part)),
    }
}

/// A workbook is a zip with one of these members first, or an old compound file.
fn is_workbook(head: &[u8]) -> bool {
    let compound: &[u8] = &[0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];
    head.starts_with(b"PK\x03\x04") || head.starts_with(compound)
}

impl<'p> Source<'p> {
    /// Whether it is one of a workbook's sheets, of which some may hold no table.
    pub fn is_sheet(&self) -> bool {
        matches!(self.form, Form::Sheet(_))
    }

    /// The header in that layout; `None` where there is none.
    pub fn header(&self, layout: &Layout) -> Option<Vec<String>> {
        match &self.form {
            Form::Text(part) => TextHead::new(&part.name, &part.head).ok()?.header(layout),
            Form::JsonLines(part) => {
                let head = TextHead::new(&part.name, &part.head).ok()?;
                Some(json_lines::header(head.lines(layout)))
            }
            Form::DiagnosticLog(_) => Some(
                scan_log::COLUMNS
                    .iter()
                    .map(|name| (*name).to_owned())
                    .collect(),
            ),
            Form::Sheet(sheet) => sheet.header(layout.skip_lines),
            Form::Columns(columns) => Some(columns.header()),
        }
    }

    /// How the table is read, by the mapping its header asks for.
    pub fn header_layout(&self, mappings: &Mappings) -> Result<HeaderLayout, IntakeError> {
        let (name, file_name) = (&self.name, &self.file_name);
        match &self.form {
            Form::DiagnosticLog(_) => {
                let is_log = |mapping: &Mapping| matches!(mapping.form, TextForm::DiagnosticLog);
                let header = self.header(&Layout::default()).unwrap_or_default();
                let mapping = recognise_text(name, file_name, mappings, &is_log)?;
                let mapping =
                    mapping.unwrap_or_else(|| Arc::new(own_mapping(DumpKind::CodeScan, &header)));
                return HeaderLayout::new(name, mapping, &header);
            }
            Form::Text(part) => {
                let head = TextHead::new(&part.name, &part.head)?;
                let is_report = |mapping: &Mapping| match &mapping.form {
                    TextForm::Report(pattern) => pattern.fits(head.lines(&mapping.layout)),
                    _ => false,
                };
                if let Some(mapping) = recognise_text(name, file_name, mappings, &is_report)?
                    && let TextForm::Report(pattern) = &mapping.form
                {
                    return HeaderLayout::new(name, Arc::clone(&mapping), &pattern.columns());
                }
            }
            _ => {}
        }
        let header_by = |layout: &Layout| self.header(layout);
        let mapping = recognise(name, file_name, mappings, &header_by)?;
        let header = self.header(&mapping.layout).unwrap_or_default();
        HeaderLayout::new(name, mapping, &header)
    }

    /// The records below the header. Numbers that are no text in the file are written with the
    /// mapping's decimal mark, by which they will be read.
    pub fn records(self, mapping: &Mapping) -> Result<Box<dyn Records + 'p>, IntakeError> {
        let (layout, decimal) = (&mapping.layout, mapping.marks.decimal);
        Ok(match (self.form, &mapping.form) {
            (Form::Text(part), TextForm::Report(pattern)) => {
                Box::new(Report::new(text::lines(part, layout)?, pattern))
            }
            (Form::Text(part), _) => Box::new(text::records(part, layout)?),
            (Form::JsonLines(part), _) => {
                let header =
                    json_lines::header(TextHead::new(&part.name, &part.head)?.lines(layout));
                Box::new(JsonLines {
                    most_depth: usize::try_from(part.limits.json_depth).unwrap_or(0),
                    lines: text::lines(part, layout)?,
                    header,
                    decimal,
                })
            }
            (Form::DiagnosticLog(part), _) => {
                Box::new(ScanLog::new(text::lines(part, layout)?, &self.file_name))
            }
            (Form::Sheet(sheet), _) => Box::new(sheet.records(layout.skip_lines, decimal)),
            (Form::Columns(columns), _) => Box::new(columns.records(decimal)),
        })
    }

    /// The delimiter in that layout; `None` for forms that have none.
    pub fn delimiter(&self, layout: &Layout) -> Option<u8> {
        match &self.form {
            Form::Text(part) => Some(
                TextHead::new(&part.name, &part.head)
                    .ok()?
                    .delimiter(layout),
            ),
            _ => None,
        }
    }

    /// What stands above a row in a file by which it can be loaded again: its header, nothing for objects
    /// that name their own values. `None` where the form has no lines of rows.
    pub fn above(&self, layout: &HeaderLayout) -> Option<String> {
        let skip_lines = layout.mapping.layout.skip_lines;
        match (&self.form, &layout.mapping.form) {
            (Form::DiagnosticLog(_), _) | (Form::Text(_), TextForm::Report(_)) => None,
            (Form::JsonLines(_), _) => Some(String::new()),
            (Form::Text(_), _) => {
                let delimiter = char::from(self.delimiter(&layout.mapping.layout)?).to_string();
                Some(header_above(&layout.header, &delimiter, skip_lines))
            }
            (Form::Sheet(_) | Form::Columns(_), _) => {
                Some(header_above(&layout.header, CELLS_OF_NO_TEXT, skip_lines))
            }
        }
    }

    /// The form and the layout in words.
    pub fn layout_words(&self, layout: &Layout) -> String {
        match &self.form {
            Form::Text(part) => TextHead::new(&part.name, &part.head)
                .map(|head| head.words(layout))
                .unwrap_or_default(),
            Form::JsonLines(_) => "JSON lines".to_owned(),
            Form::DiagnosticLog(_) => "diagnostic messages".to_owned(),
            Form::Sheet(_) => "a sheet of a workbook".to_owned(),
            Form::Columns(_) => "columns with a schema of their own".to_owned(),
        }
    }
}
