//! Invented fleets: the same bytes from the same seed, a physics that keeps its word, dumps that
//! intake reads, and a truth that fits what the dumps show.

/// Repeatable, of a bearable size, and refused where a knob makes no sense.
mod bytes;
/// Floods, latched codes and what points elsewhere.
mod codes;
/// Every dump is read by its mapping; what was spoilt is what is quarantined.
mod dumps;
/// Habits of real records, in the dumps and in the truth.
mod habits;
/// Failures happen as often as the true hazard says.
mod hazard;
/// Steps of recoveries as the dumps show them.
mod recovery;
/// A world lived week by week, under decisions from outside.
mod stepping;
/// Identification numbers of vehicles that never were.
mod vins;
/// Worlds by other laws and their truth.
mod worlds;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{LazyLock, OnceLock};

use arrow::array::ArrayRef;
use arrow::compute::cast;
use arrow::datatypes::{DataType, TimeUnit};
use arrow::error::ArrowError;
use arrow::util::display::array_value_to_string;
use chrono::{NaiveDate, NaiveDateTime, TimeZone, Utc};
use tempfile::TempDir;
use voltwane::intake::{
    Mappings, QuarantinedRow, Sink, SinkError, SourceRows, find_files, read_file,
};
use voltwane::synthetic::{Scenario, Summary, write_dumps};

/// One row, by column; empty cells are left out.
pub type Row = BTreeMap<String, String>;

/// An invented fleet on disk.
pub struct Fleet {
    pub folder: TempDir,
    pub summary: Summary,
    truth: OnceLock<BTreeMap<String, Vec<Row>>>,
}

impl Fleet {
    pub fn write(scenario: &Scenario) -> Fleet {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let summary =
            write_dumps(scenario, folder.path(), true, &mut |_, _| {}).expect("a fleet is written");
        Fleet {
            folder,
            summary,
            truth: OnceLock::new(),
        }
    }

    /// The rows of a record of the truth.
    pub fn truth(&self, record: &str) -> &[Row] {
        self.truth
            .get_or_init(|| self.read_truth())
            .get(record)
            .map_or(&[], Vec::as_slice)
    }

    fn read_truth(&self) -> BTreeMap<String, Vec<Row>> {
        let mut reader =
            csv::Reader::from_path(self.folder.path().join("truth.csv")).expect("a truth");
        let header = reader.headers().expect("a header").clone();
        let mut records: BTreeMap<String, Vec<Row>> = BTreeMap::new();
        for line in reader.records() {
            let line = line.expect("a line of the truth");
            let cells = header
                .iter()
                .zip(line.iter())
                .filter(|(_, cell)| !cell.is_empty());
            let row: Row = cells
                .map(|(name, cell)| (name.to_owned(), cell.to_owned()))
                .collect();
            records.entry(row["record"].clone()).or_default().push(row);
        }
        records
    }
}

/// A fleet of the size of the demo.
pub static DEMO: LazyLock<Fleet> = LazyLock::new(|| Fleet::write(&Scenario::new(400, 156, 7)));

/// A fleet large enough for rates.
pub static LARGE: LazyLock<Fleet> = LazyLock::new(|| Fleet::write(&Scenario::new(2000, 156, 11)));

/// What intake makes of a fleet's dumps.
#[derive(Default)]
pub struct Loaded {
    pub tables: BTreeMap<&'static str, Vec<Row>>,
    pub quarantined: u64,
    last_quarantined: Option<(String, u64)>,
    pub read: u64,
    /// Last lines that break off, which are left for a later load.
    pub unfinished: u64,
}

pub static LOADED: LazyLock<Loaded> = LazyLock::new(|| load(DEMO.folder.path()));
pub static LOADED_LARGE: LazyLock<Loaded> = LazyLock::new(|| load(LARGE.folder.path()));

impl Sink for Loaded {
    fn rows(&mut self, given: SourceRows) -> Result<(), SinkError> {
        let batch = given.batch;
        let rows = self.tables.entry(given.table).or_default();
        let schema = batch.schema();
        let columns: Vec<ArrayRef> = batch
            .columns()
            .iter()
            .map(without_zone)
            .collect::<Result<_, _>>()?;
        for index in 0..batch.num_rows() {
            let mut row = Row::new();
            for (field, column) in schema.fields().iter().zip(&columns) {
                if column.is_valid(index) {
                    row.insert(field.name().clone(), array_value_to_string(column, index)?);
                }
            }
            rows.push(row);
        }
        Ok(())
    }

    fn quarantine(&mut self, row: QuarantinedRow) -> Result<(), SinkError> {
        // Each unreadable cell of a row is told, one after the other; the row is one.
        let line = Some((row.file, row.line));
        self.quarantined += u64::from(self.last_quarantined != line);
        self.last_quarantined = line;
        Ok(())
    }

    fn progress(&mut self, _done: u64, _total: u64) {}
}

/// Instants without their zone, which is UTC, so that they can be printed.
fn without_zone(column: &ArrayRef) -> Result<ArrayRef, ArrowError> {
    match column.data_type() {
        DataType::Timestamp(..) => cast(column, &DataType::Timestamp(TimeUnit::Microsecond, None)),
        _ => Ok(column.clone()),
    }
}

fn load(folder: &Path) -> Loaded {
    let now = Utc
        .with_ymd_and_hms(2026, 7, 1, 6, 0, 0)
        .single()
        .expect("an instant");
    let found = find_files(&[folder.to_owned()]);
    let mut mappings = Mappings::builtin();
    for path in &found.mappings {
        mappings.read_toml(path).expect("a mapping that reads");
    }
    let mut loaded = Loaded::default();
    for path in &found.dumps {
        let summary = read_file(path, &mappings, now, &mut loaded).expect("a dump that reads");
        loaded.read += summary.rows_read();
        loaded.unfinished += summary.lines_unfinished();
    }
    loaded
}

/// The day of a date or of an instant in the truth.
pub fn day(text: &str) -> NaiveDate {
    text[..10].parse().expect("a date")
}

/// An instant as the truth or the lake's types print it.
pub fn instant(text: &str) -> NaiveDateTime {
    let text = text.trim_end_matches('Z');
    text.parse().expect("an instant")
}

pub fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().expect("a number")
}
