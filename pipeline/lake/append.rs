//! Appends facts: only those the lake does not have, in one Delta commit a table.
//!
//! Rows come file by file. Those of a file that fails midway are forgotten again, those of the
//! others are kept until [`Append::commit`]. Nothing a reader can see changes before that, so a
//! load that is killed leaves at most data files that no table points to. Memory is bounded: a
//! table's rows are written out whenever [`ROWS_IN_MEMORY`] of them wait.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, BooleanArray, Int32Array, Int64Array, RecordBatch, StringArray,
};
use arrow::compute::filter_record_batch;
use arrow::datatypes::TimestampMicrosecondType;
use arrow::error::ArrowError;
use chrono::{DateTime, Datelike};
use deltalake::kernel::Add;
use object_store::ObjectStoreExt;
use object_store::path::Path;
use serde_json::Map;

use super::commit::land;
use super::commit_log::VERSIONS_KEY;
use super::identity::{contents, keys, nth_key};
use super::known::{Known, Taken};
use super::pile::{Pile, write_out};
use super::tables::{LOAD_LOG, TABLES, Table, table};
use super::upkeep::look_after;
use super::{Lake, LakeError, log_table};

/// Rows of one table that may wait in memory before they are written to a data file.
pub const ROWS_IN_MEMORY: usize = 400_000;

/// One append to a lake: what it brings becomes visible at [`Append::commit`].
pub struct Append<'a> {
    lake: &'a mut Lake,
    load_id: String,
    tables: BTreeMap<&'static str, Waiting>,
}

/// Where a fact stands: a file, or a member or sheet of one, and the line there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    pub file: Arc<str>,
    pub line: u64,
}

/// What waits for one table.
#[derive(Default)]
struct Waiting {
    /// The rows in the lake or already taken, by event year; a year is read when needed.
    known: HashMap<Option<i32>, Known>,
    kept: Pile,
    /// Of the file being read: forgotten if it fails.
    file: Pile,
    file_taken: Vec<FileRow>,
    file_keys: FileKeys,
}

/// The contents of each key that the file being read has named, in its order. Hardly a key has a second, and a list
/// for each would take most of what a load of a large file holds.
#[derive(Default)]
struct FileKeys {
    first: HashMap<i64, i64>,
    further: HashMap<i64, Vec<i64>>,
}

/// A row taken from the file being read.
struct FileRow {
    year: Option<i32>,
    key: i64,
    content: i64,
    taken: Taken,
}

impl FileKeys {
    /// The key of a row that comes from the file: that of its place among the file's rows of one key.
    fn key(&mut self, key: i64, content: i64) -> i64 {
        let first = *self.first.entry(key).or_insert(content);
        if first == content {
            return nth_key(key, 0);
        }
        let further = self.further.entry(key).or_default();
        let place = further.iter().position(|known| *known == content);
        let place = place.unwrap_or_else(|| {
            further.push(content);
            further.len() - 1
        });
        nth_key(key, place + 1)
    }
}

impl<'a> Append<'a> {
    /// Starts an append; every row it brings carries `load_id`.
    pub fn new(lake: &'a mut Lake, load_id: impl Into<String>) -> Self {
        Self {
            lake,
            load_id: load_id.into(),
            tables: BTreeMap::new(),
        }
    }

    /// Takes the rows of `batch` (in the table's intake schema) that the lake does not have and that come
    /// from no file. Answers, row by row, what it was to the lake.
    pub async fn rows(&mut self, name: &str, batch: &RecordBatch) -> Result<Vec<Taken>, LakeError> {
        self.rows_from(name, batch, &[]).await
    }

    /// As [`Self::rows`], of rows that come from there, one place a row.
    pub async fn rows_from(
        &mut self,
        name: &str,
        batch: &RecordBatch,
        origins: &[Origin],
    ) -> Result<Vec<Taken>, LakeError> {
        let design = table(name).ok_or_else(|| LakeError::NoSuchTable(name.to_owned()))?;
        let shape = |source| LakeError::Shape {
            table: design.name,
            source,
        };
        let contents = contents(design, batch).map_err(shape)?;
        let mut keys = keys(design, batch).map_err(shape)?;
        let years = event_years(design, batch).map_err(shape)?;
        self.lake.make_if_missing(design).await?;
        let delta = self.lake.delta(design)?;
        let waiting = self.tables.entry(design.name).or_default();
        let mut taken = Vec::with_capacity(contents.len());
        for (row, content) in contents.iter().enumerate() {
            let year = years.as_ref().map(|years| years[row]);
            keys[row] = waiting.file_keys.key(keys[row], *content);
            let known = match waiting.known.entry(year) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(place) => place.insert(Known::read(delta, design, year).await?),
            };
            let row_taken = known.take(keys[row], *content);
            if row_taken.is_added() {
                waiting.file_taken.push(FileRow {
                    year,
                    key: keys[row],
                    content: *content,
                    taken: row_taken,
                });
            }
            taken.push(row_taken);
        }
        let is_added: BooleanArray = taken.iter().map(|row| Some(row.is_added())).collect();
        let marks = RowMarks {
            contents,
            keys,
            corrects: taken.iter().map(|row| row.corrects()).collect(),
            origins,
            years,
        };
        let full = self
            .with_lake_columns(design, batch, marks)
            .map_err(shape)?;
        let fresh = filter_record_batch(&full, &is_added).map_err(shape)?;
        let waiting = self.tables.entry(design.name).or_default();
        if fresh.num_rows() > 0 {
            waiting.file.rows += fresh.num_rows();
            waiting.file.batches.push(fresh);
            if waiting.file.rows >= ROWS_IN_MEMORY {
                write_out(self.lake, design, &mut waiting.file).await?;
            }
        }
        Ok(taken)
    }

    /// The file being read is good: its rows stay.
    pub async fn file_done(&mut self) -> Result<(), LakeError> {
        for (name, waiting) in &mut self.tables {
            waiting.file_taken = Vec::new();
            waiting.file_keys = FileKeys::default();
            waiting.kept.absorb(&mut waiting.file);
            if waiting.kept.rows >= ROWS_IN_MEMORY {
                let design = table(name).ok_or_else(|| LakeError::NoSuchTable(name.to_string()))?;
                write_out(self.lake, design, &mut waiting.kept).await?;
            }
        }
        Ok(())
    }

    /// The file being read failed: its rows are forgotten.
    pub fn file_failed(&mut self) {
        for waiting in self.tables.values_mut() {
            for row in waiting.file_taken.drain(..).rev() {
                if let Some(known) = waiting.known.get_mut(&row.year) {
                    known.forget(row.key, row.content, row.taken);
                }
            }
            waiting.file_keys = FileKeys::default();
            waiting.file = Pile::default();
        }
    }

    /// Writes what waits and commits it, one commit a table. The load log comes last: its commit names
    /// the version each table then stands at, so that a table that loses a commit is found out. A
    /// table with nothing new gets none.
    pub async fn commit(mut self) -> Result<(), LakeError> {
        let committed = self.commit_all().await;
        if committed.is_err() {
            self.remove_waiting().await;
        }
        committed
    }

    /// Removes what was written for tables that had no turn: no commit names it, and where the disk is
    /// full it is in the way. That it cannot be removed is no harm.
    async fn remove_waiting(&mut self) {
        for (name, waiting) in &mut self.tables {
            let Some(delta) = table(name).and_then(|design| self.lake.delta(design).ok()) else {
                continue;
            };
            let store = delta.object_store();
            let files = waiting.file.written.drain(..);
            for file in files.chain(waiting.kept.written.drain(..)) {
                let _ = store.delete(&Path::from(file.path)).await;
            }
        }
    }

    async fn commit_all(&mut self) -> Result<(), LakeError> {
        self.file_done().await?;
        if self.tables.values().any(|waiting| !waiting.kept.is_empty()) {
            self.lake.keep_others_out().await?;
            let mut versions = Map::new();
            for design in TABLES.iter().filter(|table| table.name != LOAD_LOG) {
                self.lake.make_if_missing(design).await?;
                let files = self.written(design).await?;
                let version = land(self.lake, design, files, HashMap::new()).await?;
                versions.insert(design.name.to_owned(), version.into());
            }
            let files = self.written(log_table()).await?;
            let about = HashMap::from([(VERSIONS_KEY.to_owned(), versions.into())]);
            land(self.lake, log_table(), files, about).await?;
        }
        // Whoever goes on reading through this lake sees what was just added, and others may write.
        let place = self.lake.place().to_owned();
        let lock = self.lake.lock.take();
        *self.lake = Lake::open(&place).await?;
        if lock.is_some() {
            look_after(self.lake).await;
        }
        drop(lock);
        Ok(())
    }

    /// The data files that hold what a table gets.
    async fn written(&mut self, design: &'static Table) -> Result<Vec<Add>, LakeError> {
        let Some(waiting) = self.tables.get_mut(design.name) else {
            return Ok(Vec::new());
        };
        write_out(self.lake, design, &mut waiting.kept).await?;
        Ok(std::mem::take(&mut waiting.kept.written))
    }

    fn with_lake_columns(
        &self,
        design: &Table,
        batch: &RecordBatch,
        marks: RowMarks<'_>,
    ) -> Result<RecordBatch, ArrowError> {
        let origins = (0..batch.num_rows()).map(|row| marks.origins.get(row));
        let mut columns: Vec<ArrayRef> = batch.columns().to_vec();
        columns.push(Arc::new(StringArray::from(vec![
            self.load_id.as_str();
            batch.num_rows()
        ])));
        columns.push(Arc::new(Int64Array::from(marks.contents)));
        columns.push(Arc::new(Int64Array::from(marks.keys)));
        columns.push(Arc::new(marks.corrects));
        if design.is_of_facts() {
            let files = origins.clone().map(|origin| Some(&*origin?.file));
            columns.push(Arc::new(files.collect::<StringArray>()));
            let lines = origins.map(|origin| i64::try_from(origin?.line).ok());
            columns.push(Arc::new(lines.collect::<Int64Array>()));
        }
        if let Some(years) = marks.years {
            columns.push(Arc::new(Int32Array::from(years)));
        }
        RecordBatch::try_new(design.lake_schema(), columns)
    }
}

/// What the lake adds to the rows of a batch, besides the load.
struct RowMarks<'o> {
    contents: Vec<i64>,
    keys: Vec<i64>,
    corrects: Int64Array,
    origins: &'o [Origin],
    years: Option<Vec<i32>>,
}

/// The calendar year (UTC) of each row's event, for tables partitioned by it.
fn event_years(design: &Table, batch: &RecordBatch) -> Result<Option<Vec<i32>>, ArrowError> {
    let Some(column) = design.event_time else {
        return Ok(None);
    };
    let instants = batch
        .column_by_name(column)
        .and_then(|column| column.as_primitive_opt::<TimestampMicrosecondType>())
        .ok_or_else(|| ArrowError::SchemaError(format!("no instants in column {column}")))?;
    Ok(Some(
        instants
            .values()
            .iter()
            .map(|micros| DateTime::from_timestamp_micros(*micros).map_or(0, |at| at.year()))
            .collect(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_key_of_a_row_is_that_of_its_place_among_those_of_one_key() {
        let mut keys = FileKeys::default();
        let told = [10, 20, 10, 30, 20].map(|content| keys.key(1, content));
        let places = [0, 1, 0, 2, 1].map(|place| nth_key(1, place));
        assert_eq!(told, places);
        assert_eq!(keys.key(2, 10), nth_key(2, 0));
    }
}
