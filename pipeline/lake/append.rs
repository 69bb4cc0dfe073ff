//! Appends facts: only those the lake does not have, in one Delta commit a table.
//!
//! Rows come file by file. Those of a file that fails midway are forgotten again, those of the
//! others are kept until [`Append::commit`]. Nothing a reader can see changes before that, so a
//! load that is killed leaves at most data files that no table points to. Memory is bounded: a
//! table's rows are written out whenever [`ROWS_IN_MEMORY`] of them wait.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use arrow::array::{
    ArrayRef, AsArray, BooleanArray, Int32Array, Int64Array, RecordBatch, StringArray,
};
use arrow::compute::{
    SortColumn, concat_batches, filter_record_batch, lexsort_to_indices, take_record_batch,
};
use arrow::datatypes::{Int64Type, TimestampMicrosecondType};
use arrow::error::ArrowError;
use chrono::{DateTime, Datelike};
use deltalake::kernel::Add;
use deltalake::writer::{DeltaWriter, RecordBatchWriter};
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::properties::WriterProperties;
use serde_json::Map;

use super::columns::read_columns;
use super::commit::land;
use super::commit_log::VERSIONS_KEY;
use super::row_hash::row_hashes;
use super::tables::{LOAD_LOG, ROW_HASH, TABLES, Table, table};
use super::{Lake, LakeError, log_table};

/// Rows of one table that may wait in memory before they are written to a data file.
pub const ROWS_IN_MEMORY: usize = 400_000;

/// One append to a lake: what it brings becomes visible at [`Append::commit`].
pub struct Append<'a> {
    lake: &'a mut Lake,
    load_id: String,
    tables: BTreeMap<&'static str, Waiting>,
}

/// What waits for one table.
#[derive(Default)]
struct Waiting {
    /// Hashes of the rows in the lake or already taken, by event year; a year is read when needed.
    known: HashMap<Option<i32>, HashSet<i64>>,
    kept: Pile,
    /// Of the file being read: forgotten if it fails.
    file: Pile,
    file_hashes: Vec<(Option<i32>, i64)>,
}

/// Rows on their way into a table: in memory, or in data files that no commit names yet.
#[derive(Default)]
pub(super) struct Pile {
    pub(super) batches: Vec<RecordBatch>,
    rows: usize,
    pub(super) written: Vec<Add>,
}

impl Pile {
    fn absorb(&mut self, other: &mut Pile) {
        self.batches.append(&mut other.batches);
        self.written.append(&mut other.written);
        self.rows += std::mem::take(&mut other.rows);
    }

    fn is_empty(&self) -> bool {
        self.batches.is_empty() && self.written.is_empty()
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

    /// Takes the rows of `batch` (in the table's intake schema) that the lake does not have.
    /// Answers, row by row, whether it was new.
    pub async fn rows(&mut self, name: &str, batch: &RecordBatch) -> Result<Vec<bool>, LakeError> {
        let design = table(name).ok_or_else(|| LakeError::NoSuchTable(name.to_owned()))?;
        let shape = |source| LakeError::Shape {
            table: design.name,
            source,
        };
        let hashes = row_hashes(batch).map_err(shape)?;
        let years = event_years(design, batch).map_err(shape)?;
        let delta = self.lake.delta(design)?;
        let waiting = self.tables.entry(design.name).or_default();
        let mut is_new = Vec::with_capacity(hashes.len());
        for (row, hash) in hashes.iter().enumerate() {
            let year = years.as_ref().map(|years| years[row]);
            let known = match waiting.known.entry(year) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(place) => {
                    let stored = read_columns(delta, design.name, &[ROW_HASH], year).await?;
                    let stored = stored
                        .iter()
                        .flat_map(|batch| batch.column(0).as_primitive::<Int64Type>().values())
                        .copied()
                        .collect();
                    place.insert(stored)
                }
            };
            let new = known.insert(*hash);
            if new {
                waiting.file_hashes.push((year, *hash));
            }
            is_new.push(new);
        }
        let full = self
            .with_lake_columns(design, batch, hashes, years)
            .map_err(shape)?;
        let fresh =
            filter_record_batch(&full, &BooleanArray::from(is_new.clone())).map_err(shape)?;
        let waiting = self.tables.entry(design.name).or_default();
        if fresh.num_rows() > 0 {
            waiting.file.rows += fresh.num_rows();
            waiting.file.batches.push(fresh);
            if waiting.file.rows >= ROWS_IN_MEMORY {
                write_out(self.lake, design, &mut waiting.file).await?;
            }
        }
        Ok(is_new)
    }

    /// The file being read is good: its rows stay.
    pub async fn file_done(&mut self) -> Result<(), LakeError> {
        for (name, waiting) in &mut self.tables {
            waiting.file_hashes.clear();
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
            for (year, hash) in waiting.file_hashes.drain(..) {
                if let Some(known) = waiting.known.get_mut(&year) {
                    known.remove(&hash);
                }
            }
            waiting.file = Pile::default();
        }
    }

    /// Writes what waits and commits it, one commit a table. The load log comes last: its commit names
    /// the version each table then stands at, so that a table that loses a commit is found out. A
    /// table with nothing new gets none.
    pub async fn commit(mut self) -> Result<(), LakeError> {
        self.file_done().await?;
        if self.tables.values().any(|waiting| !waiting.kept.is_empty()) {
            self.lake.keep_others_out().await?;
            let mut versions = Map::new();
            for design in TABLES.iter().filter(|table| table.name != LOAD_LOG) {
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
        *self.lake = Lake::open(&place).await?;
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
        hashes: Vec<i64>,
        years: Option<Vec<i32>>,
    ) -> Result<RecordBatch, ArrowError> {
        let mut columns: Vec<ArrayRef> = batch.columns().to_vec();
        columns.push(Arc::new(StringArray::from(vec![
            self.load_id.as_str();
            batch.num_rows()
        ])));
        columns.push(Arc::new(Int64Array::from(hashes)));
        if let Some(years) = years {
            columns.push(Arc::new(Int32Array::from(years)));
        }
        RecordBatch::try_new(design.lake_schema(), columns)
    }
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

/// Sorts the waiting rows and writes them to data files that no commit names yet.
pub(super) async fn write_out(
    lake: &Lake,
    design: &'static Table,
    pile: &mut Pile,
) -> Result<(), LakeError> {
    if pile.batches.is_empty() {
        return Ok(());
    }
    let shape = |source| LakeError::Shape {
        table: design.name,
        source,
    };
    let rows = concat_batches(&design.lake_schema(), &pile.batches).map_err(shape)?;
    pile.batches.clear();
    pile.rows = 0;
    let keys: Vec<SortColumn> = design
        .sorted_by
        .iter()
        .filter_map(|name| rows.column_by_name(name))
        .map(|values| SortColumn {
            values: Arc::clone(values),
            options: None,
        })
        .collect();
    let order = lexsort_to_indices(&keys, None).map_err(shape)?;
    let sorted = take_record_batch(&rows, &order).map_err(shape)?;
    let delta = lake.delta(design)?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(
            ZstdLevel::try_new(3).expect("zstd has a level 3"),
        ))
        .build();
    let mut writer = RecordBatchWriter::for_table(delta)
        .map_err(LakeError::delta(design.name, "written"))?
        .with_writer_properties(properties);
    writer
        .write(sorted)
        .await
        .map_err(LakeError::delta(design.name, "written"))?;
    let mut written = writer
        .flush()
        .await
        .map_err(LakeError::delta(design.name, "written"))?;
    pile.written.append(&mut written);
    Ok(())
}
