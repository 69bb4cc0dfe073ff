//! Reads one file: each line becomes a row of the lake or goes to quarantine.
//!
//! Fails as a whole: when a file turns out to be cut or damaged midway, the sink has had rows of it
//! that the caller must drop.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use chrono::{DateTime, Utc};

use super::error::IntakeError;
use super::fault::Fault;
use super::fields::cell::Value;
use super::files::container::{failed, file_hash, visit_parts};
use super::forms::record::{Record, Records, Step};
use super::mapping::header_layout::HeaderLayout;
use super::mapping::mappings::Mappings;
use super::rows::row::RowReader;
use super::rows::row_batches::RowBatches;
use super::sink::{QuarantinedRow, Sink};
use super::source::{Source, visit_sources};
use trade::vin::{CheckDigit, Vin};

/// What was read from a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileSummary {
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub file_hash: String,
    pub bytes: u64,
    /// One for each table in the file.
    pub parts: Vec<PartSummary>,
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

/// Reads the file at `path` into `sink`. Dates after `now` are taken for slips.
pub fn read_file(
    path: &Path,
    mappings: &Mappings,
    now: DateTime<Utc>,
    sink: &mut dyn Sink,
) -> Result<FileSummary, IntakeError> {
    let (file_hash, bytes) = file_hash(path)?;
    let taken = Arc::new(AtomicU64::new(0));
    let shared_hash: Arc<str> = file_hash.as_str().into();
    let mut parts: Vec<PartSummary> = Vec::new();
    let mut left_out = Vec::new();
    visit_parts(path, &taken, &mut |part| {
        let compressed = part.is_compressed();
        visit_sources(part, &mut |source| {
            let layout = source
                .header_layout(mappings)
                .inspect_err(|_| left_out.push(source.name.clone()))?;
            let reading = Reading {
                file: source.name.clone(),
                layout: &layout,
                compressed,
                file_hash: &shared_hash,
                progress: Progress {
                    taken: &taken,
                    total: bytes,
                },
            };
            parts.push(reading.run(source, now, sink)?);
            Ok(())
        })
    })?;
    if let Some(part) = parts.first_mut()
        && !left_out.is_empty()
    {
        part.remarks.push(format!(
            "not read, since nothing fits its header: {}",
            left_out.join(", ")
        ));
    }
    sink.progress(bytes, bytes);
    Ok(FileSummary {
        file_hash,
        bytes,
        parts,
    })
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
        file: source.name.clone(),
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

/// The reading of one table.
struct Reading<'c> {
    file: String,
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
                file: self.file.clone(),
                evidence,
                remedy: "name another kind",
            });
        };
        let mut summary = PartSummary {
            file: self.file.clone(),
            kind: self.layout.kind().name(),
            mapping_name: self.layout.mapping.name.clone(),
            rows_read: 0,
            rows_quarantined: 0,
            remarks: Vec::new(),
        };
        let vin_place = self.layout.place("vin");
        let mut misread_vins = 0;
        let mut record = Record::default();
        while let Some(step) = self.next(records.as_mut(), &mut record)? {
            summary.rows_read += 1;
            let fault = match step {
                Step::Row => {
                    let taken = reader.read(&record).and_then(|values| {
                        misread_vins +=
                            u64::from(vin_place.is_some_and(|place| is_misread(&values[place])));
                        batches.push(&values, record.line)
                    });
                    taken.err()
                }
                Step::Bad(fault) => Some(fault),
            };
            if let Some(fault) = fault {
                summary.rows_quarantined += 1;
                self.quarantine(&record, fault, sink)?;
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
        if summary.rows_read == 0 {
            summary.remarks.push("a header and no rows".to_owned());
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

    fn quarantine(
        &self,
        record: &Record,
        fault: Fault,
        sink: &mut dyn Sink,
    ) -> Result<(), IntakeError> {
        let row = QuarantinedRow {
            file: self.file.clone(),
            line: record.line,
            raw_text: record.raw.chars().take(RAW_CHARACTERS).collect(),
            field: fault.field,
            reason: fault.to_string(),
            dump_kind: self.layout.kind().name(),
            shop: self.layout.mapping.shop.clone(),
            file_hash: Arc::clone(self.file_hash),
        };
        sink.quarantine(row).map_err(|source| IntakeError::Sink {
            file: self.file.clone(),
            source,
        })
    }
}
