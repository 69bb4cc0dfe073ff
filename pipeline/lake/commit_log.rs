//! A table's commits as they lie in its `_delta_log`, looked at before Delta reads them.
//!
//! Delta takes a log that ends early for an older table: a newest entry that a power cut left empty,
//! or that somebody deleted, would make facts vanish without a word. So every entry since the newest
//! checkpoint must be there and whole, and no table may stand below the version that the newest
//! commit of the load log names ([`VERSIONS_KEY`]), which is made last.

use std::collections::BTreeMap;

use deltalake::DeltaTableBuilder;
use deltalake::logstore::LogStoreRef;
use futures::TryStreamExt;
use object_store::ObjectStore;
use serde_json::{Map, Value};
use url::Url;

use super::tables::Table;
use super::{LakeError, local_folder, table_url};

/// Where a commit of the load log names the version each other table stood at.
pub const VERSIONS_KEY: &str = "tableVersions";

/// The version each table stood at when a load was done.
pub type Versions = BTreeMap<String, u64>;

/// The files of a table's log that count: temporary ones of a killed load are left out.
pub struct CommitLog {
    table: &'static Table,
    folder: String,
    is_local: bool,
    checkpoint: Option<u64>,
    /// Size in bytes of each entry.
    entries: BTreeMap<u64, u64>,
    store: Option<LogStoreRef>,
}

impl CommitLog {
    /// Lists the log of a table; it is empty where there is no such table.
    pub async fn list(root: &Url, table: &'static Table) -> Result<Self, LakeError> {
        let url = table_url(root, table)?;
        let local = local_folder(&url);
        let mut log = Self {
            table,
            folder: match &local {
                Some(folder) => folder.join("_delta_log").display().to_string(),
                None => format!("{url}_delta_log"),
            },
            is_local: local.is_some(),
            checkpoint: None,
            entries: BTreeMap::new(),
            store: None,
        };
        if local.is_some_and(|folder| !folder.is_dir()) {
            return Ok(log);
        }
        let delta = DeltaTableBuilder::from_url(url)
            .and_then(DeltaTableBuilder::build)
            .map_err(LakeError::delta(table.name, "found"))?;
        let store = delta.log_store();
        let files: Vec<_> = store
            .object_store(None)
            .list(Some(store.log_path()))
            .try_collect()
            .await
            .map_err(|error| LakeError::delta(table.name, "found")(error.into()))?;
        for file in files {
            let Some((version, ending)) = file.location.filename().and_then(versioned) else {
                continue;
            };
            if ending == "json" {
                log.entries.insert(version, file.size);
            } else if ending.starts_with("checkpoint.") && ending.ends_with("parquet") {
                log.checkpoint = log.checkpoint.max(Some(version));
            }
        }
        log.store = Some(store);
        Ok(log)
    }

    /// Whether the table was ever created: an interrupted creation leaves a log without a commit.
    pub fn is_begun(&self) -> bool {
        self.checkpoint.is_some() || !self.entries.is_empty()
    }

    /// The version of the newest checkpoint, 0 where there is none.
    pub fn checkpoint(&self) -> u64 {
        self.checkpoint.unwrap_or(0)
    }

    /// Checks that every entry since the newest checkpoint is there and whole, up to `told`, the
    /// version the load log names, at least.
    pub async fn verify(&self, told: Option<u64>) -> Result<(), LakeError> {
        let newest = self.entries.keys().last().copied().max(self.checkpoint);
        let newest = newest.max(told).unwrap_or(0);
        let first = self.checkpoint.map_or(0, |version| version + 1);
        for version in first..=newest {
            let fault = match self.entries.get(&version) {
                None => "is missing",
                Some(0) => "is empty",
                Some(_) if self.is_local && !self.is_whole(version).await? => "breaks off midway",
                Some(_) => continue,
            };
            // What no finished load has named can hold nothing but what a load was cut short over.
            let is_cut_short =
                version == newest && (version == 0 || told.is_some_and(|told| version > told));
            return Err(LakeError::BrokenLog {
                file: format!("{}/{}", self.folder, entry_name(version)),
                fault,
                advice: if is_cut_short && fault != "is missing" {
                    "a load was cut short: remove that file and run the load again"
                } else {
                    "facts would be missing: restore that file from a backup, or load all dumps into a new lake"
                },
            });
        }
        Ok(())
    }

    /// The versions named by the newest entry that names any: none in a lake whose loads were all
    /// made before loads named them.
    pub async fn named_versions(&self) -> Result<Option<Versions>, LakeError> {
        for version in self.entries.keys().rev() {
            let text = self.read(*version).await?;
            let named = text
                .lines()
                .filter_map(|line| serde_json::from_str::<Map<String, Value>>(line).ok())
                .find_map(|action| {
                    let named = action.get("commitInfo")?.get(VERSIONS_KEY)?;
                    serde_json::from_value::<Versions>(named.clone()).ok()
                });
            if named.is_some() {
                return Ok(named);
            }
        }
        Ok(None)
    }

    /// Whether the last line of an entry is complete.
    async fn is_whole(&self, version: u64) -> Result<bool, LakeError> {
        let text = self.read(version).await?;
        Ok(text
            .lines()
            .last()
            .is_some_and(|line| serde_json::from_str::<Map<String, Value>>(line).is_ok()))
    }

    async fn read(&self, version: u64) -> Result<String, LakeError> {
        let failed = LakeError::delta(self.table.name, "read");
        let Some(store) = &self.store else {
            return Ok(String::new());
        };
        let bytes = store.read_commit_entry(version).await.map_err(failed)?;
        Ok(bytes.map_or_else(String::new, |bytes| {
            String::from_utf8_lossy(&bytes).into_owned()
        }))
    }
}

/// The name of a commit's entry in `_delta_log`.
pub fn entry_name(version: u64) -> String {
    format!("{version:020}.json")
}

/// The version a file of the log is named for, and the rest of its name.
fn versioned(name: &str) -> Option<(u64, &str)> {
    let (digits, ending) = name.split_once('.')?;
    if digits.len() != 20 {
        return None;
    }
    Some((digits.parse().ok()?, ending))
}
