//! The facts a table has, as far as a new row must be held against them: the content of each, and
//! which row stands for each key now.

use std::collections::{HashMap, HashSet};

use deltalake::DeltaTable;

use super::LakeError;
use super::columns::{files_of_year, read_file};
use super::stored_rows::{first_release_hashes, integers};
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
        let mut standing = Vec::new();
        let mut corrected = HashSet::new();
        let mut first_release_keys = HashSet::new();
        let shape = |source| LakeError::Shape {
            table: table.name,
            source,
        };
        let columns: &[&str] = &[ROW_HASH, KEY_HASH, CORRECTS];
        for path in files_of_year(delta, table.name, year)? {
            for batch in read_file(store.clone(), table.name, &path, Some(columns)).await? {
                let Some(rows) = integers(&batch, ROW_HASH) else {
                    continue;
                };
                if let Some(keys) = integers(&batch, KEY_HASH) {
                    known.contents.extend(rows.values());
                    standing.extend(
                        keys.values()
                            .iter()
                            .copied()
                            .zip(rows.values().iter().copied()),
                    );
                } else {
                    let hashes = first_release_hashes(table, &batch, &mut first_release_keys);
                    for (row, (key, content)) in hashes.map_err(shape)?.into_iter().enumerate() {
                        known.contents.insert(content);
                        standing.push((key, rows.value(row)));
                    }
                }
                if let Some(corrects) = integers(&batch, CORRECTS) {
                    corrected.extend(corrects.iter().flatten());
                }
            }
        }
        known.current = standing
            .into_iter()
            .filter(|(_, row)| !corrected.contains(row))
            .collect();
        Ok(known)
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
