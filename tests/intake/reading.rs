//! Reads a made-up file and keeps all that comes out.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::concat_batches;
use arrow::datatypes::{Date32Type, Float64Type, Int64Type, TimestampMicrosecondType};
use chrono::{DateTime, Utc};
use voltwane::intake::{
    FileSummary, IntakeError, Mappings, QuarantinedRow, Sink, SinkError, SourceRows, read_file,
};

/// The clock of all intake tests.
pub fn now() -> DateTime<Utc> {
    "2026-06-28T12:00:00Z".parse().unwrap()
}

/// How many batches and lines of each table, and quarantined rows, are to stay.
#[derive(Debug, Default)]
struct Kept {
    batches: BTreeMap<&'static str, usize>,
    lines: BTreeMap<&'static str, usize>,
    quarantined: usize,
}

/// What came out of a file.
#[derive(Debug, Default)]
pub struct Outcome {
    pub batches: BTreeMap<&'static str, Vec<RecordBatch>>,
    pub lines: BTreeMap<&'static str, Vec<u64>>,
    pub quarantined: Vec<QuarantinedRow>,
    pub progress: Vec<(u64, u64)>,
    /// What the parts read so far have given.
    kept: Kept,
    pub summary: Option<FileSummary>,
}

impl Sink for Outcome {
    fn rows(&mut self, rows: SourceRows) -> Result<(), SinkError> {
        assert_eq!(rows.origins.len(), rows.batch.num_rows());
        self.batches.entry(rows.table).or_default().push(rows.batch);
        let lines = self.lines.entry(rows.table).or_default();
        if rows.counts_lines {
            lines.extend(rows.origins.iter().map(|origin| origin.line));
        }
        Ok(())
    }

    fn quarantine(&mut self, row: QuarantinedRow) -> Result<(), SinkError> {
        self.quarantined.push(row);
        Ok(())
    }

    fn part_ended(&mut self, keep: bool) -> Result<(), SinkError> {
        if keep {
            let (batches, lines) = (self.batches.iter(), self.lines.iter());
            self.kept = Kept {
                batches: batches.map(|(table, list)| (*table, list.len())).collect(),
                lines: lines.map(|(table, list)| (*table, list.len())).collect(),
                quarantined: self.quarantined.len(),
            };
            return Ok(());
        }
        for (table, list) in &mut self.batches {
            list.truncate(self.kept.batches.get(table).copied().unwrap_or(0));
        }
        for (table, list) in &mut self.lines {
            list.truncate(self.kept.lines.get(table).copied().unwrap_or(0));
        }
        self.quarantined.truncate(self.kept.quarantined);
        Ok(())
    }

    fn progress(&mut self, bytes_done: u64, bytes_total: u64) {
        self.progress.push((bytes_done, bytes_total));
    }
}

impl Outcome {
    pub fn summary(&self) -> &FileSummary {
        self.summary.as_ref().expect("the file was read")
    }

    pub fn table(&self, table: &str) -> Option<RecordBatch> {
        let batches = self.batches.get(table)?;
        Some(concat_batches(&batches[0].schema(), batches).unwrap())
    }

    pub fn count(&self, table: &str) -> usize {
        self.batches
            .get(table)
            .into_iter()
            .flatten()
            .map(RecordBatch::num_rows)
            .sum()
    }

    fn column(&self, table: &str, column: &str) -> arrow::array::ArrayRef {
        let batch = self
            .table(table)
            .unwrap_or_else(|| panic!("no rows of {table}; quarantined: {:#?}", self.quarantined));
        batch.column_by_name(column).unwrap().clone()
    }

    pub fn numbers(&self, table: &str, column: &str) -> Vec<Option<f64>> {
        self.column(table, column)
            .as_primitive::<Float64Type>()
            .iter()
            .collect()
    }

    pub fn wholes(&self, table: &str, column: &str) -> Vec<Option<i64>> {
        self.column(table, column)
            .as_primitive::<Int64Type>()
            .iter()
            .collect()
    }

    pub fn texts(&self, table: &str, column: &str) -> Vec<Option<String>> {
        self.column(table, column)
            .as_string::<i32>()
            .iter()
            .map(|text| text.map(str::to_owned))
            .collect()
    }

    pub fn flags(&self, table: &str, column: &str) -> Vec<Option<bool>> {
        self.column(table, column).as_boolean().iter().collect()
    }

    /// Instants as RFC 3339 in UTC.
    pub fn instants(&self, table: &str, column: &str) -> Vec<Option<String>> {
        let array = self.column(table, column);
        let shown = |at: i64| {
            DateTime::<Utc>::from_timestamp_micros(at)
                .unwrap()
                .to_rfc3339_opts(chrono::SecondsFormat::Secs, true)
        };
        array
            .as_primitive::<TimestampMicrosecondType>()
            .iter()
            .map(|at| at.map(shown))
            .collect()
    }

    /// Days as ISO 8601.
    pub fn days(&self, table: &str, column: &str) -> Vec<Option<String>> {
        let array = self.column(table, column);
        let days = array.as_primitive::<Date32Type>();
        (0..days.len())
            .map(|row| {
                days.value_as_date(row)
                    .filter(|_| days.is_valid(row))
                    .map(|day| day.to_string())
            })
            .collect()
    }

    /// Line, field and reason of each quarantined row.
    pub fn reasons(&self) -> Vec<(u64, &str, &str)> {
        self.quarantined
            .iter()
            .map(|row| (row.line, row.field.unwrap_or(""), row.reason.as_str()))
            .collect()
    }

    /// The reason of the only quarantined row.
    pub fn reason(&self) -> &str {
        assert_eq!(self.quarantined.len(), 1, "{:#?}", self.quarantined);
        &self.quarantined[0].reason
    }
}

/// A folder of files for one test.
pub struct Folder {
    folder: tempfile::TempDir,
    pub mappings: Mappings,
}

impl Folder {
    pub fn new() -> Folder {
        Folder {
            folder: tempfile::tempdir().unwrap(),
            mappings: Mappings::builtin(),
        }
    }

    pub fn with_mapping(toml: &str) -> Folder {
        let mut folder = Folder::new();
        folder.add_mapping(toml);
        folder
    }

    pub fn add_mapping(&mut self, toml: &str) {
        self.mappings
            .add_toml(Path::new("shop.toml"), toml)
            .unwrap_or_else(|error| panic!("{error}"));
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, bytes).unwrap();
        path
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn try_read(
        &self,
        name: &str,
        bytes: impl AsRef<[u8]>,
    ) -> (Outcome, Result<FileSummary, IntakeError>) {
        let path = self.write(name, bytes);
        let mut outcome = Outcome::default();
        let summary = read_file(&path, &self.mappings, now(), &mut outcome);
        outcome.summary = summary.as_ref().ok().cloned();
        (outcome, summary)
    }

    pub fn read(&self, name: &str, bytes: impl AsRef<[u8]>) -> Outcome {
        let (outcome, summary) = self.try_read(name, bytes);
        summary.unwrap_or_else(|error| panic!("{error}"));
        // Every line that was read is counted once: as a row, or in quarantine as a whole.
        let counted: usize = outcome.lines.values().map(Vec::len).sum();
        let whole = outcome.quarantined.iter().filter(|row| !row.row_loaded);
        let whole = whole.count();
        assert_eq!(outcome.summary().rows_read(), (counted + whole) as u64);
        assert_eq!(outcome.summary().rows_quarantined(), whole as u64);
        outcome
    }

    /// The error of a file that cannot be read as a whole, without the folder's name.
    pub fn error(&self, name: &str, bytes: impl AsRef<[u8]>) -> String {
        let (_, summary) = self.try_read(name, bytes);
        let error = summary.expect_err("the file should not be read");
        error
            .to_string()
            .replace(&format!("{}/", self.folder.path().display()), "")
    }
}

/// A VIN with its check digit, from an invented prefix and a number.
pub fn vin(number: u32) -> String {
    let plain = format!("7ZV4C1A00S{number:07}");
    let digit = voltwane::trade::vin::make_check_digit(&plain).unwrap();
    format!("{}{digit}{}", &plain[..8], &plain[9..])
}
