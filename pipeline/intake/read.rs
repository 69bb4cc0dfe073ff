//! Reads one file: each line becomes a row of the lake or goes to quarantine.
//!
//! A part that turns out to be cut or damaged midway is left out as a whole: the sink, which has had
//! rows of it, is told to drop them. So it is with a file in one part, which fails.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use chrono::{DateTime, Utc};

use super::error::IntakeError;
use super::fault::Fault;
use super::fields::cell::Value;
use super::files::container::{Part, failed, file_hash, visit_parts};
use super::forms::record::{Record, Records, Step};
use super::mapping::header_layout::HeaderLayout;
use super::mapping::mappings::Mappings;
use super::mapping::names::ORIGIN_COLUMN;
use super::mend::{FirstPlace, without_origin};
use super::rows::row::RowReader;
use super::rows::row_batches::RowBatches;
use super::sink::{QuarantinedRow, Sink};
use super::source::{Source, visit_sources};
use lake::append::Origin;
use trade::vin::{CheckDigit, Vin};

/// What was read from a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileSummary {
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub file_hash: String,
    pub bytes: u64,
    /// One for each table in the file.
    pub parts: Vec<PartSummary>,
    /// Members and sheets that could not be read, each with the reason.
    pub left_out: Vec<LeftOut>,
}

/// A member or a sheet of which nothing was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    pub file: String,
    /// The whole message, which names it.
    pub why: String,
}

/// What was read from one table of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartSummary {
    /// The file, or `file/member`.
    pub file: String,
    pub kind: &'static str,
    pub mapping_name: String,
    pub rows_read: u64,
    pub rows_quarantined: u64,
    /// Cells that could not be used, of rows that could.
    pub cells_left_out: u64,
    /// A last line that was still being written, and is left for the next load.
    pub unfinished_line: Option<u64>,
    /// What the user may want to know: columns that were not used, no rows.
    pub remarks: Vec<String>,
}

impl FileSummary {
    /// The kinds of dump in the file, in words.
    pub fn kind(&self) -> String {
        distinct(self.parts.iter().map(|part| part.kind))
    }

    pub fn mapping_name(&self) -> String {
        distinct(self.parts.iter().map(|part| part.mapping_name.as_str()))
    }

    pub fn rows_read(&self) -> u64 {
        self.parts.iter().map(|part| part.rows_read).sum()
    }

    /// Lines that were still being written.
    pub fn lines_unfinished(&self) -> u64 {
        let unfinished = self.parts.iter().filter_map(|part| part.unfinished_line);
        unfinished.count() as u64
    }

    pub fn rows_quarantined(&self) -> u64 {
        self.parts.iter().map(|part| part.rows_quarantined).sum()
    }
}

fn distinct<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let mut list: Vec<&str> = Vec::new();
    for name in names {
        if !list.contains(&name) {
            list.push(name);
        }
    }
    list.join(" + ")
}

/// Characters of a line that quarantine keeps.
const RAW_CHARACTERS: usize = 2000;

/// Lines between two reports of progress.
const PROGRESS_LINES: u64 = 4096;

/// Members of one file that are named each, where they cannot be read; the others are counted.
const MOST_NAMED: usize = 20;

/// Reads the file at `path` into `sink`. Dates after `now` are taken for slips. A member or a sheet
/// that cannot be read is left out and named; where none can be, the file cannot.
pub fn read_file(
    path: &Path,
    mappings: &Mappings,
    now: DateTime<Utc>,
    sink: &mut dyn Sink,
) -> Result<FileSummary, IntakeError> {
    let (file_hash, bytes) = file_hash(path)?;
    let taken = Arc::new(AtomicU64::new(0));
    let mut reading = FileReading {
        mappings,
        now,
        file_hash: file_hash.as_str().into(),
        taken: &taken,
        bytes,
        parts: Vec::new(),
        left_out: Vec::new(),
        unfit_sheets: Vec::new(),
    };
    visit_parts(path, &mappings.limits, &taken, &mut |part| {
        let compressed = part.as_ref().is_ok_and(Part::is_compressed);
        let read = part.and_then(|part| {
            visit_sources(part, &mut |source| reading.source(source, compressed, sink))
        });
        reading.go_on_unless_stopped(read)
    })?;
    let (parts, left_out) = reading.done()?;
    sink.progress(bytes, bytes);
    Ok(FileSummary {
        file_hash,
        bytes,
        parts,
        left_out,
    })
}

/// The reading of one file with all its members and sheets.
struct FileReading<'c> {
    mappings: &'c Mappings,
    now: DateTime<Utc>,
    file_hash: Arc<str>,
    taken: &'c AtomicU64,
    bytes: u64,
    parts: Vec<PartSummary>,
    left_out: Vec<IntakeError>,
    /// Sheets that nothing fits: notes beside the table, so long as another sheet holds one.
    unfit_sheets: Vec<IntakeError>,
}

impl FileReading<'_> {
    fn source(
        &mut self,
        source: Result<Source<'_>, IntakeError>,
        compressed: bool,
        sink: &mut dyn Sink,
    ) -> Result<(), IntakeError> {
        let is_sheet = source.as_ref().is_ok_and(Source::is_sheet);
        let read = source.and_then(|source| {
            let layout = source.header_layout(self.mappings)?;
            let reading = Reading {
                above: source.above(&layout).map(Arc::from),
                file: source.name.as_str().into(),
                layout: &layout,
                compressed,
                file_hash: &self.file_hash,
                progress: Progress {
                    taken: self.taken,
                    total: self.bytes,
                },
            };
            reading.run(source, self.now, sink)
        });
        let ended = |file: String| move |source| IntakeError::Sink { file, source };
        match read {
            Ok(summary) => {
                sink.part_ended(true).map_err(ended(summary.file.clone()))?;
                self.parts.push(summary);
                Ok(())
            }
            Err(error) if error.stops_the_load() => Err(error),
            Err(error) => {
                sink.part_ended(false).map_err(ended(error.file()))?;
                match error {
                    IntakeError::UnknownKind { .. } if is_sheet => self.unfit_sheets.push(error),
                    error => self.left_out.push(error),
                }
                Ok(())
            }
        }
    }

    /// What a member's fault does to the file: nothing, but that the member is left out.
    fn go_on_unless_stopped(&mut self, read: Result<(), IntakeError>) -> Result<(), IntakeError> {
        match read {
            Err(error) if !error.stops_the_load() => {
                self.left_out.push(error);
                Ok(())
            }
            read => read,
        }
    }

    /// What was read and what was not; the only error, where it is one and nothing was read.
    fn done(mut self) -> Result<(Vec<PartSummary>, Vec<LeftOut>), IntakeError> {
        match self.parts.first_mut() {
            Some(part) if !self.unfit_sheets.is_empty() => {
                let names: Vec<String> = self.unfit_sheets.iter().map(IntakeError::file).collect();
                part.remarks.push(format!(
                    "not read, since nothing fits its header: {}",
                    names.join(", ")
                ));
            }
            Some(_) => {}
            // Of a workbook without a table the first sheet says enough.
            None => self.left_out.extend(self.unfit_sheets.drain(..).take(1)),
        }
        if self.parts.is_empty() && self.left_out.len() == 1 {
            return Err(self.left_out.remove(0));
        }
        if self.left_out.len() > MOST_NAMED {
            let mut more = self.left_out.split_off(MOST_NAMED);
            let first = more.remove(0);
            let file = first.file();
            self.left_out.push(IntakeError::MoreMembers {
                file: file
                    .rsplit_once('/')
                    .map_or(file.clone(), |(outer, _)| outer.to_owned()),
                count: more.len() + 1,
                first: Box::new(first),
            });
        }
        let left_out = self.left_out.iter().map(|error| LeftOut {
            file: error.file(),
            why: error.to_string(),
        });
        Ok((self.parts, left_out.collect()))
    }
}

/// Reads one table by its layout, for one who needs neither the file's hash nor progress.
pub fn read_source(
    source: Source<'_>,
    layout: &HeaderLayout,
    compressed: bool,
    now: DateTime<Utc>,
    sink: &mut dyn Sink,
) -> Result<PartSummary, IntakeError> {
    let (taken, no_hash) = (AtomicU64::new(0), Arc::from(""));
    let progress = Progress {
        taken: &taken,
        total: 0,
    };
    let reading = Reading {
        above: None,
        file: source.name.as_str().into(),
        layout,
        compressed,
        file_hash: &no_hash,
        progress,
    };
    reading.run(source, now, sink)
}

/// Whether a VIN's check digit is wrong where it binds: a remark, since the row may be right.
fn is_misread(vin: &Value<'_>) -> bool {
    let check = vin
        .text()
        .and_then(|text| Vin::parse(text).ok())
        .map(|vin| vin.check_digit());
    matches!(check, Some(CheckDigit::Wrong { .. }))
}

struct Progress<'c> {
    taken: &'c AtomicU64,
    total: u64,
}

/// Where a row stands, or stood when it first came.
struct Place<'p> {
    origin: Origin,
    /// Its text there.
    raw: &'p str,
    /// Where it stood, of a row that comes again.
    first: Option<&'p FirstPlace>,
}

/// The reading of one table.
struct Reading<'c> {
    file: Arc<str>,
    /// What stands above its rows in a file by which they can be loaded again.
    above: Option<Arc<str>>,
    layout: &'c HeaderLayout,
    compressed: bool,
    file_hash: &'c Arc<str>,
    progress: Progress<'c>,
}

impl Reading<'_> {
    fn run(
        &self,
        source: Source<'_>,
        now: DateTime<Utc>,
        sink: &mut dyn Sink,
    ) -> Result<PartSummary, IntakeError> {
        let mut records = source.records(&self.layout.mapping)?;
        let reader = RowReader::new(self.layout, now);
        let Some(mut batches) = RowBatches::new(self.layout) else {
            let evidence = format!(
                "is of kind {}, which has no table",
                self.layout.kind().name()
            );
            return Err(IntakeError::Form {
                file: self.file.to_string(),
                evidence,
                remedy: "name another kind",
            });
        };
        let mut summary = PartSummary {
            file: self.file.to_string(),
            kind: self.layout.kind().name(),
            mapping_name: self.layout.mapping.name.clone(),
            rows_read: 0,
            rows_quarantined: 0,
            cells_left_out: 0,
            unfinished_line: None,
            remarks: Vec::new(),
        };
        let vin_place = self.layout.place("vin");
        let origin_place = self
            .layout
            .header
            .iter()
            .position(|name| name == ORIGIN_COLUMN);
        let mut misread_vins = 0;
        let mut record = Record::default();
        while let Some(step) = self.next(records.as_mut(), &mut record)? {
            if step == Step::Unfinished {
                summary.unfinished_line = Some(record.line);
                continue;
            }
            summary.rows_read += 1;
            let first = origin_place.and_then(|place| FirstPlace::parse(record.cell(place)));
            let place = Place {
                origin: match &first {
                    Some(first) => first.origin.clone(),
                    None => Origin {
                        file: Arc::clone(&self.file),
                        line: record.line,
                    },
                },
                raw: match (&self.above, origin_place) {
                    (Some(above), Some(place)) => {
                        without_origin(&record.raw, record.cell(place), above)
                    }
                    _ => record.raw.as_str(),
                },
                first: first.as_ref(),
            };
            let fault = match step {
                Step::Row => {
                    let taken = reader.read(&record).and_then(|(values, left_out)| {
                        misread_vins +=
                            u64::from(vin_place.is_some_and(|place| is_misread(&values[place])));
                        batches.push(&values, &place.origin)?;
                        Ok(left_out)
                    });
                    match taken {
                        Ok(left_out) => {
                            summary.cells_left_out += left_out.len() as u64;
                            if first.is_some() && left_out.is_empty() {
                                self.quarantine(&place, None, true, sink)?;
                            }
                            for fault in left_out {
                                self.quarantine(&place, Some(fault), true, sink)?;
                            }
                            None
                        }
                        Err(fault) => Some(fault),
                    }
                }
                Step::Bad(fault) => Some(fault),
                Step::Unfinished => None,
            };
            if let Some(fault) = fault {
                summary.rows_quarantined += 1;
                self.quarantine(&place, Some(fault), false, sink)?;
            }
            batches.pass_on(&self.file, false, sink)?;
            if summary.rows_read.is_multiple_of(PROGRESS_LINES) {
                sink.progress(
                    self.progress
                        .taken
                        .load(Ordering::Relaxed)
                        .min(self.progress.total),
                    self.progress.total,
                );
            }
        }
        batches.pass_on(&self.file, true, sink)?;
        if let Some(line) = summary.unfinished_line {
            summary.remarks.push(format!(
                "line {line} breaks off and has no line end, so it is left for the next load; if nothing is \
                 being written any more, export the file again"
            ));
        } else if summary.rows_read == 0 {
            summary.remarks.push("a header and no rows".to_owned());
        }
        if summary.cells_left_out > 0 {
            summary.remarks.push(format!(
                "cells left out of rows that were taken, each with its reason in quarantine: {}",
                summary.cells_left_out
            ));
        }
        if misread_vins > 0 {
            summary.remarks.push(format!(
                "rows whose VIN has a wrong check digit, most likely misread: {misread_vins}"
            ));
        }
        if !self.layout.unused.is_empty() {
            summary.remarks.push(format!(
                "columns not used: {}",
                self.layout.unused.join(", ")
            ));
        }
        Ok(summary)
    }

    fn next(
        &self,
        records: &mut dyn Records,
        record: &mut Record,
    ) -> Result<Option<Step>, IntakeError> {
        records
            .next(record)
            .map_err(|error| failed(&self.file, self.compressed, error))
    }

    /// Passes a row with its fault on; without one it is the note that the row came mended.
    fn quarantine(
        &self,
        place: &Place<'_>,
        fault: Option<Fault>,
        row_loaded: bool,
        sink: &mut dyn Sink,
    ) -> Result<(), IntakeError> {
        let row = QuarantinedRow {
            file: place.origin.file.to_string(),
            line: place.origin.line,
            raw_text: place.raw.chars().take(RAW_CHARACTERS).collect(),
            field: fault.as_ref().and_then(|fault| fault.field),
            reason: match &fault {
                Some(fault) => fault.to_string(),
                None => "mended".to_owned(),
            },
            dump_kind: self.layout.kind().name(),
            shop: self.layout.mapping.shop.clone(),
            file_hash: match place.first {
                Some(first) => Arc::clone(&first.file_hash),
                None => Arc::clone(self.file_hash),
            },
            row_loaded,
            header: self.above.clone(),
            mended: fault.is_none(),
        };
        sink.quarantine(row).map_err(|source| IntakeError::Sink {
            file: self.file.to_string(),
            source,
        })
    }
}
