//! The facts a table has, as far as a new row must be held against them: the content of each, and
//! which row stands for each key now.

use std::collections::{HashMap, HashSet};

use arrow::array::{Array, AsArray, Int64Array, RecordBatch};
use arrow::datatypes::Int64Type;
use arrow::error::ArrowError;
use deltalake::DeltaTable;

use super::LakeError;
use super::columns::{files_of_year, read_file};
use super::identity::{contents, keys, nth_key};
use super::tables::{CORRECTS, KEY_HASH, ROW_HASH, Table};

/// What a table holds of one event year, or at all.
#[derive(Default)]
pub struct Known {
    contents: HashSet<i64>,
    /// For each key the stored hash of the row that stands for it.
    current: HashMap<i64, i64>,
}

/// What a row is to the lake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    AlreadyThere,
    New,
    /// Its key was there with another content. Both stay, and this one counts from now on.
    Correction {
        /// The `row_hash` of the row it stands in for.
        of: i64,
    },
}

impl Taken {
    /// Whether the row goes into the lake.
    pub fn is_added(self) -> bool {
        self != Taken::AlreadyThere
    }

    /// The hash of the row it corrects.
    pub fn corrects(self) -> Option<i64> {
        match self {
            Taken::Correction { of } => Some(of),
            _ => None,
        }
    }
}

impl Known {
    /// Reads what the table has of that event year, or all where it has no years.
    pub async fn read(
        delta: &DeltaTable,
        table: &'static Table,
        year: Option<i32>,
    ) -> Result<Self, LakeError> {
        let store = delta.object_store();
        let mut known = Self::default();
        let mut corrected = HashSet::new();
        let shape = |source| LakeError::Shape {
            table: table.name,
            source,
        };
        let columns: &[&str] = &[ROW_HASH, KEY_HASH, CORRECTS];
        for path in files_of_year(delta, table.name, year)? {
            for batch in read_file(store.clone(), table.name, &path, Some(columns)).await? {
                match integers(&batch, KEY_HASH) {
                    Some(keys) => known.learn(&batch, keys, &mut corrected),
                    None => known
                        .learn_from_content(table, &batch, &corrected)
                        .map_err(shape)?,
                }
            }
        }
        Ok(known)
    }

    /// Rows that carry their hashes.
    fn learn(&mut self, batch: &RecordBatch, keys: &Int64Array, corrected: &mut HashSet<i64>) {
        let Some(rows) = integers(batch, ROW_HASH) else {
            return;
        };
        let corrects = integers(batch, CORRECTS);
        for row in 0..batch.num_rows() {
            let hash = rows.value(row);
            self.contents.insert(hash);
            if let Some(corrects) = corrects.filter(|corrects| corrects.is_valid(row)) {
                corrected.insert(corrects.value(row));
            }
            self.stands(keys.value(row), hash, corrected);
        }
    }

    /// Rows written before rows carried a key: both hashes are taken from what is stored.
    fn learn_from_content(
        &mut self,
        table: &Table,
        batch: &RecordBatch,
        corrected: &HashSet<i64>,
    ) -> Result<(), ArrowError> {
        let (contents, keys) = (contents(table, batch)?, keys(table, batch)?);
        let Some(stored) = integers(batch, ROW_HASH) else {
            return Ok(());
        };
        for (row, (content, key)) in contents.into_iter().zip(keys).enumerate() {
            self.contents.insert(content);
            let free = (0..)
                .map(|place| nth_key(key, place))
                .find(|key| !self.current.contains_key(key))
                .unwrap_or(key);
            self.stands(free, stored.value(row), corrected);
        }
        Ok(())
    }

    /// A row stands for its key, unless it has been corrected or its correction was met before.
    fn stands(&mut self, key: i64, hash: i64, corrected: &HashSet<i64>) {
        let open = self
            .current
            .get(&key)
            .is_none_or(|standing| corrected.contains(standing));
        if open || !corrected.contains(&hash) {
            self.current.insert(key, hash);
        }
    }

    /// Whether a row of that key and content is new; from now on it is known.
    pub fn take(&mut self, key: i64, content: i64) -> Taken {
        if !self.contents.insert(content) {
            return Taken::AlreadyThere;
        }
        match self.current.insert(key, content) {
            Some(of) => Taken::Correction { of },
            None => Taken::New,
        }
    }

    /// Forgets a row taken by [`Self::take`]; the last one first.
    pub fn forget(&mut self, key: i64, content: i64, taken: Taken) {
        self.contents.remove(&content);
        match taken.corrects() {
            Some(standing) => self.current.insert(key, standing),
            None => self.current.remove(&key),
        };
    }
}

fn integers<'b>(batch: &'b RecordBatch, name: &str) -> Option<&'b Int64Array> {
    batch.column_by_name(name)?.as_primitive_opt::<Int64Type>()
}
