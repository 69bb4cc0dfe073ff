//! The lake: one Delta table a folder, opened together so that a run sees one state of all of them.
//!
//! This is the only folder that knows Delta. It fails when the place is missing, is not a lake, or
//! cannot be read or written; every error names the place and what to do. What rows mean is left to
//! intake and analysis.

pub mod append;
mod columns;
mod commit;
mod commit_log;
mod design;
mod durable;
mod identity;
pub mod known;
mod papers;
mod pile;
mod rewrite;
mod s3_store;
mod schema_version;
mod stored_rows;
pub mod tables;
pub mod taking_back;
mod upkeep;
mod writers_lock;

use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use datafusion::catalog::TableProvider;
use deltalake::kernel::Action;
use deltalake::kernel::transaction::CommitBuilder;
use deltalake::protocol::{DeltaOperation, SaveMode};
use deltalake::{DeltaTable, DeltaTableBuilder, DeltaTableError};
use url::Url;

use commit_log::{CommitLog, entry_name};
use durable::sync_file;
use schema_version::{making, stored_version};
use tables::{LOAD_LOG, TABLES, Table};
use writers_lock::WritersLock;

/// Why a lake could not be used.
#[derive(Debug, thiserror::Error)]
pub enum LakeError {
    #[error("there is no lake at {0}: make one with `voltwane load --lake {0} FILES`")]
    Missing(String),
    #[error(
        "{0} is not a lake: it has no load_log table. Name the folder that `voltwane load` wrote to"
    )]
    NotALake(String),
    #[error("{0} holds other files and no lake: name an empty or new folder, or an existing lake")]
    Occupied(String),
    #[error("the lake at {lake} has no table {table}: run `voltwane load` on it once more")]
    Incomplete { lake: String, table: &'static str },
    #[error(
        "the lake at {lake} was written by a newer voltwane: its table {table} has schema version {version}, this one knows {known}. Use the newer voltwane; nothing was changed"
    )]
    Newer {
        lake: String,
        table: &'static str,
        version: u32,
        known: u32,
    },
    #[error("{0} is not a place for a lake: {1}")]
    BadPlace(String, String),
    #[error("the lake's table {table} could not be {doing}: {reason}{advice}")]
    Delta {
        table: &'static str,
        doing: &'static str,
        reason: String,
        advice: &'static str,
    },
    #[error("{file} {fault}; {advice}")]
    BrokenLog {
        file: String,
        fault: &'static str,
        advice: &'static str,
    },
    #[error(
        "the log of the lake's table {table} names {file}, which lies outside the table: somebody changed it; \
         restore the table's folder from a backup"
    )]
    Outside { table: &'static str, file: String },
    #[error("a data file of the lake's table {table} could not be read: {source}")]
    Parquet {
        table: &'static str,
        #[source]
        source: parquet::errors::ParquetError,
    },
    #[error("rows for the lake's table {table} have the wrong shape: {source}")]
    Shape {
        table: &'static str,
        #[source]
        source: arrow::error::ArrowError,
    },
    #[error("there is no table {0} in the lake's design")]
    NoSuchTable(String),
    #[error("{place}: {source}{}", advice(.source.kind()))]
    Io {
        place: String,
        #[source]
        source: std::io::Error,
    },
}

impl LakeError {
    fn delta(table: &'static str, doing: &'static str) -> impl FnOnce(DeltaTableError) -> Self {
        move |error| LakeError::Delta {
            table,
            doing,
            reason: match cause(&error) {
                Some(said) => said.to_string(),
                // Further lines are a backtrace, which tells a user nothing.
                None => {
                    let told = error.to_string();
                    let first_line = told.lines().next().unwrap_or_default();
                    s3_store::refusal(&told).unwrap_or(first_line).to_owned()
                }
            },
            advice: cause(&error).map_or("", |said| advice(said.kind())),
        }
    }
}

/// What the system said of a lake that cannot be written, where that is the cause.
fn cause(error: &DeltaTableError) -> Option<&std::io::Error> {
    let mut error: Option<&(dyn std::error::Error + 'static)> = Some(error);
    while let Some(outer) = error {
        if let Some(said) = outer.downcast_ref::<std::io::Error>()
            && !advice(said.kind()).is_empty()
        {
            return Some(said);
        }
        error = outer.source();
    }
    None
}

/// What to do where the lake cannot be written. Whatever was committed is whole, and a command that is run
/// again goes on from there.
fn advice(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "; only reading is allowed there: run it as whoever may write, the lake is unharmed"
        }
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "; there is no room for it: make room and run it again, the lake is unharmed"
        }
        _ => "",
    }
}

/// All raw tables of one lake, each at the version it had when the lake was opened.
pub struct Lake {
    place: String,
    root: Url,
    tables: BTreeMap<&'static str, DeltaTable>,
    /// Held from before the lake was opened to be written to.
    lock: Option<WritersLock>,
    /// Where the papers of a lake in an object store were copied to.
    papers: Option<PathBuf>,
}

impl Lake {
    /// Opens an existing lake for reading and appending. One of an older release is read as it is.
    pub async fn open(place: &str) -> Result<Self, LakeError> {
        let root = root_url(place)?;
        if let Some(folder) = local_folder(&root)
            && !folder.is_dir()
        {
            return Err(LakeError::Missing(place.to_owned()));
        }
        let mut tables = BTreeMap::new();
        // The log is made first, so a folder without one was never a lake. It is looked at first, too:
        // whatever is committed meanwhile, no table stands below the version it names.
        let load_log = CommitLog::list(&root, log_table()).await?;
        if !load_log.is_begun() {
            return Err(LakeError::NotALake(place.to_owned()));
        }
        let named = load_log.named_versions().await?.unwrap_or_default();
        // Its own newest entry holds no facts, so it can go without a backup.
        load_log.verify(Some(0)).await?;
        for table in TABLES {
            let log = CommitLog::list(&root, table).await?;
            let told = named.get(table.name).copied();
            if !log.is_begun() {
                // A table that came later is not in an older lake.
                if table.since > 1 && told.is_none() {
                    continue;
                }
                return Err(LakeError::Incomplete {
                    lake: place.to_owned(),
                    table: table.name,
                });
            }
            log.verify(told).await?;
            let delta = load(&root, table).await?;
            let version = stored_version(&delta, table)?;
            if version > table.version() {
                return Err(LakeError::Newer {
                    lake: place.to_owned(),
                    table: table.name,
                    version,
                    known: table.version(),
                });
            }
            tables.insert(table.name, delta);
        }
        Ok(Self {
            place: place.to_owned(),
            root,
            tables,
            lock: None,
            papers: None,
        })
    }

    /// Opens an existing lake to be written to; waits for another writer on this machine.
    pub async fn open_to_change(place: &str) -> Result<Self, LakeError> {
        let lock = match local_folder(&root_url(place)?) {
            Some(folder) if folder.is_dir() => WritersLock::take(&folder).await?,
            _ => None,
        };
        let opened = Self::open(place).await?;
        Ok(Self { lock, ..opened })
    }

    /// Opens the lake at `place` to be written to, making what is not there yet; waits for another
    /// writer on this machine. A folder that holds other things is refused rather than filled.
    pub async fn open_or_create(place: &str) -> Result<Self, LakeError> {
        let root = root_url(place)?;
        let mut lock = None;
        if let Some(folder) = local_folder(&root) {
            refuse_occupied(place, &folder)?;
            std::fs::create_dir_all(&folder).map_err(|source| LakeError::Io {
                place: place.to_owned(),
                source,
            })?;
            lock = WritersLock::take(&folder).await?;
        }
        for table in std::iter::once(log_table()).chain(TABLES) {
            if !CommitLog::list(&root, table).await?.is_begun() {
                create(&root, table).await?;
            }
        }
        let opened = Self::open(place).await?;
        Ok(Self { lock, ..opened })
    }

    /// The place as the user named it.
    pub fn place(&self) -> &str {
        &self.place
    }

    /// The lake's folder, where it is on this machine.
    pub fn folder(&self) -> Option<PathBuf> {
        local_folder(&self.root)
    }

    /// The table as DataFusion reads it, with the columns it was written with; none where the lake is
    /// older than the table.
    pub async fn provider(
        &self,
        table: &Table,
    ) -> Result<Option<Arc<dyn TableProvider>>, LakeError> {
        let Some(delta) = self.tables.get(table.name) else {
            return Ok(None);
        };
        let provider = delta
            .table_provider()
            .await
            .map_err(|error| LakeError::delta(table.name, "read")(error.into()))?;
        Ok(Some(provider))
    }

    /// How many rows the table's log counts, 0 where it is not there or its files do not say.
    pub fn rows_counted(&self, table: &Table) -> usize {
        let delta = self.tables.get(table.name);
        let state = delta.and_then(|delta| delta.snapshot().ok());
        state.map_or(0, |state| {
            let files = state.log_data();
            files.iter().filter_map(|file| file.num_records()).sum()
        })
    }

    /// Whether the lake has the table: one older than it has not.
    fn has(&self, table: &Table) -> bool {
        self.tables.contains_key(table.name)
    }

    /// The version of the table's newest checkpoint, 0 where it has none.
    async fn checkpoint(&self, table: &'static Table) -> Result<u64, LakeError> {
        Ok(CommitLog::list(&self.root, table).await?.checkpoint())
    }

    /// Makes a table that an older lake does not have yet.
    async fn make_if_missing(&mut self, table: &'static Table) -> Result<(), LakeError> {
        if !self.has(table) {
            create(&self.root, table).await?;
            self.reload(table).await?;
        }
        Ok(())
    }

    /// The tables that an older release wrote and no load has brought up since.
    pub fn older_tables(&self) -> Result<Vec<&'static str>, LakeError> {
        let mut older = Vec::new();
        for table in TABLES {
            match self.tables.get(table.name) {
                Some(delta) if stored_version(delta, table)? >= table.version() => {}
                _ => older.push(table.name),
            }
        }
        Ok(older)
    }

    /// How many data files the table has.
    pub fn data_files(&self, table: &'static Table) -> Result<usize, LakeError> {
        let years = rewrite::years(self, table)?;
        Ok(years.values().map(|year| year.files.len()).sum())
    }

    /// Waits until no other process on this machine writes to the lake, and keeps them out from then on.
    async fn keep_others_out(&mut self) -> Result<(), LakeError> {
        if let (None, Some(folder)) = (&self.lock, self.folder()) {
            self.lock = WritersLock::take(&folder).await?;
        }
        Ok(())
    }

    /// Opens a table again, at its newest version.
    async fn reload(&mut self, table: &'static Table) -> Result<(), LakeError> {
        let newest = load(&self.root, table).await?;
        self.tables.insert(table.name, newest);
        Ok(())
    }

    fn delta(&self, table: &Table) -> Result<&DeltaTable, LakeError> {
        self.tables
            .get(table.name)
            .ok_or_else(|| LakeError::NoSuchTable(table.name.to_owned()))
    }
}

fn log_table() -> &'static Table {
    tables::table(LOAD_LOG).expect("the load log is one of the lake's tables")
}

fn root_url(place: &str) -> Result<Url, LakeError> {
    let bad = |why: String| LakeError::BadPlace(place.to_owned(), why);
    let mut root = if place.contains("://") {
        let address = Url::parse(place).map_err(|error| bad(error.to_string()))?;
        if let Some(fault) = s3_store::fault(&address) {
            return Err(bad(fault));
        }
        address
    } else {
        let absolute = std::path::absolute(place).map_err(|error| bad(error.to_string()))?;
        Url::from_directory_path(&absolute).map_err(|()| bad("it is not a path".to_owned()))?
    };
    if !root.path().ends_with('/') {
        root.set_path(&format!("{}/", root.path()));
    }
    Ok(root)
}

fn local_folder(root: &Url) -> Option<PathBuf> {
    (root.scheme() == "file").then(|| root.to_file_path().ok())?
}

fn refuse_occupied(place: &str, folder: &Path) -> Result<(), LakeError> {
    if folder.is_file() {
        return Err(LakeError::BadPlace(
            place.to_owned(),
            "it is a file, a lake is a folder".to_owned(),
        ));
    }
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Ok(());
    };
    // A lake may be prepared with its configuration and mappings before the first load.
    let known = |name: &str| {
        name == "voltwane.toml"
            || name == "code_groups.toml"
            || name == "mappings"
            || name.starts_with('.')
            || tables::table(name).is_some()
    };
    for entry in entries.flatten() {
        if !known(&entry.file_name().to_string_lossy()) {
            return Err(LakeError::Occupied(place.to_owned()));
        }
    }
    Ok(())
}

fn table_url(root: &Url, table: &Table) -> Result<Url, LakeError> {
    root.join(&format!("{}/", table.name))
        .map_err(|error| LakeError::BadPlace(root.to_string(), error.to_string()))
}

async fn load(root: &Url, table: &'static Table) -> Result<DeltaTable, LakeError> {
    let delta = DeltaTableBuilder::from_url(table_url(root, table)?)
        .map_err(LakeError::delta(table.name, "opened"))?
        .load()
        .await
        .map_err(LakeError::delta(table.name, "opened"))?;
    refuse_outside(&delta, table)?;
    Ok(delta)
}

/// A lake's own log names files below the table only; one that leads elsewhere is not followed.
fn refuse_outside(delta: &DeltaTable, table: &'static Table) -> Result<(), LakeError> {
    let snapshot = delta
        .snapshot()
        .map_err(LakeError::delta(table.name, "opened"))?;
    for file in snapshot.log_data() {
        let path = file.path();
        let leads_up = path.split(['/', '\\']).any(|part| part == "..");
        if leads_up || path.starts_with('/') || Url::parse(&path).is_ok() {
            return Err(LakeError::Outside {
                table: table.name,
                file: path.to_string(),
            });
        }
    }
    Ok(())
}

/// Makes a table; that another was faster is no harm. Its log does not say where it lies: a lake may
/// be moved, and where it was made is nobody's business.
async fn create(root: &Url, table: &'static Table) -> Result<(), LakeError> {
    let url = table_url(root, table)?;
    if let Some(folder) = local_folder(&url) {
        std::fs::create_dir_all(&folder).map_err(|source| LakeError::Io {
            place: folder.display().to_string(),
            source,
        })?;
    }
    let delta = DeltaTableBuilder::from_url(url.clone())
        .and_then(DeltaTableBuilder::build)
        .map_err(LakeError::delta(table.name, "created"))?;
    let (protocol, metadata) = making(table)?;
    let location = Url::parse(&format!("table:{}", table.name))
        .map_err(|error| LakeError::BadPlace(table.name.to_owned(), error.to_string()))?;
    let made = CommitBuilder::default()
        .with_actions(vec![
            Action::Protocol(protocol.clone()),
            Action::Metadata(metadata.clone()),
        ])
        .build(
            None,
            delta.log_store(),
            DeltaOperation::Create {
                mode: SaveMode::Ignore,
                location,
                protocol,
                metadata,
            },
        )
        .await;
    if let Err(error) = made
        // However the store says so, another may have been faster.
        && !CommitLog::list(root, table).await?.is_begun()
    {
        return Err(LakeError::delta(table.name, "created")(error));
    }
    match (local_folder(root), local_folder(&url)) {
        (Some(lake), Some(folder)) => {
            sync_file(&lake, &folder.join("_delta_log").join(entry_name(0)))
        }
        _ => Ok(()),
    }
}
