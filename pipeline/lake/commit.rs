//! Commits, each onto the very state it was held against, whoever else writes.
//!
//! Which rows are new, or what is written anew, was decided against one version of the table, so a commit
//! may land as the very next version only. Where another writer was faster, an append leaves out the rows
//! that came with it and tries again; a rewriting is done again.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;

use arrow::array::{Array, AsArray, BooleanArray, Int64Array, RecordBatch};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Int64Type;
use deltalake::DeltaTableError;
use deltalake::kernel::transaction::{CommitBuilder, TransactionError};
use deltalake::kernel::{Action, Add};
use deltalake::protocol::{DeltaOperation, SaveMode};
use object_store::ObjectStoreExt;
use object_store::path::Path;
use serde_json::Value;

use super::columns::read_file;
use super::commit_log::entry_name;
use super::durable::sync_file;
use super::known::{Known, Taken};
use super::pile::{Pile, write_out};
use super::schema_version::raising;
use super::stored_rows::{as_designed, with_column};
use super::tables::{CORRECTS, EVENT_YEAR, KEY_HASH, ROW_HASH, Table};
use super::{Lake, LakeError};

/// Commits `files` to a table, with `about` in the commit's own account of itself; what the table has
/// by now is left out. Answers the version the table then stands at.
pub async fn land(
    lake: &mut Lake,
    design: &'static Table,
    mut files: Vec<Add>,
    about: HashMap<String, Value>,
) -> Result<u64, LakeError> {
    loop {
        let delta = lake.delta(design)?;
        if files.is_empty() && about.is_empty() && raising(delta, design)?.is_none() {
            return Ok(delta.version().unwrap_or(0));
        }
        let adds = files.iter().cloned().map(Action::Add).collect();
        match commit_at(lake, design, adds, SaveMode::Append, about.clone()).await? {
            Some(version) => return Ok(version),
            None => {
                lake.reload(design).await?;
                files = without_known(lake, design, files).await?;
            }
        }
    }
}

/// Commits `actions` as the version that follows the one the table was read at, and raises its schema
/// with them where it is older. Data files lie safely on disk before, the commit's entry after. Answers
/// that version; none where another writer took it, and nothing was changed.
pub async fn commit_at(
    lake: &Lake,
    design: &'static Table,
    actions: Vec<Action>,
    mode: SaveMode,
    about: HashMap<String, Value>,
) -> Result<Option<u64>, LakeError> {
    for action in &actions {
        if let Action::Add(file) = action {
            sync_in_lake(lake, design, &file.path)?;
        }
    }
    let delta = lake.delta(design)?;
    let snapshot = delta
        .snapshot()
        .map_err(LakeError::delta(design.name, "read"))?;
    let raising = raising(delta, design)?;
    let committed = CommitBuilder::default()
        .with_actions(raising.into_iter().chain(actions).collect())
        .with_app_metadata(about)
        // Not even onto a later version that does not contradict it: the same rows may be there.
        .with_max_retries(0)
        .build(
            Some(snapshot),
            delta.log_store(),
            DeltaOperation::Write {
                mode,
                partition_by: design.event_time.map(|_| vec![EVENT_YEAR.to_owned()]),
                predicate: None,
            },
        )
        .await;
    match committed {
        Ok(done) => {
            sync_in_lake(
                lake,
                design,
                &format!("_delta_log/{}", entry_name(done.version())),
            )?;
            Ok(Some(done.version()))
        }
        Err(DeltaTableError::Transaction {
            source: TransactionError::MaxCommitAttempts(_),
        }) => Ok(None),
        Err(error) => Err(LakeError::delta(design.name, "committed")(error)),
    }
}

/// The files' rows that the table does not have, in files of their own: what came meanwhile is left
/// out, and what corrects it says so.
async fn without_known(
    lake: &Lake,
    design: &'static Table,
    files: Vec<Add>,
) -> Result<Vec<Add>, LakeError> {
    let delta = lake.delta(design)?;
    let store = delta.object_store();
    let shape = |source| LakeError::Shape {
        table: design.name,
        source,
    };
    let mut known: HashMap<Option<i32>, Known> = HashMap::new();
    let mut rest = Pile::default();
    let mut left_out = 0;
    for file in files {
        let year = event_year(&file);
        let known = match known.entry(year) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(place) => place.insert(Known::read(delta, design, year).await?),
        };
        let path = Path::from(file.path.as_str());
        let mut fresh = Vec::new();
        let mut is_as_it_was = true;
        for batch in read_file(store.clone(), design.name, &path, None).await? {
            let taken: Vec<Taken> = hashes(&batch, KEY_HASH)
                .into_iter()
                .zip(hashes(&batch, ROW_HASH))
                .map(|(key, content)| known.take(key, content))
                .collect();
            let corrects: Int64Array = taken.iter().map(|row| row.corrects()).collect();
            is_as_it_was &= batch
                .column_by_name(CORRECTS)
                .is_some_and(|before| before.as_ref() == &corrects as &dyn Array);
            let is_added: BooleanArray = taken.iter().map(|row| Some(row.is_added())).collect();
            left_out += is_added.false_count();
            is_as_it_was &= is_added.false_count() == 0;
            let all = as_designed(design, &batch, year)
                .and_then(|rows| with_column(&rows, CORRECTS, Arc::new(corrects)))
                .map_err(shape)?;
            fresh.push(filter_record_batch(&all, &is_added).map_err(shape)?);
        }
        if is_as_it_was {
            rest.written.push(file);
            continue;
        }
        rest.batches
            .extend(fresh.into_iter().filter(|batch| batch.num_rows() > 0));
        // No commit names it; that it cannot be removed is no harm.
        let _ = store.delete(&path).await;
    }
    if left_out > 0 {
        tracing::warn!(
            "{left_out} rows of {} were added by another load in the meantime and are not added again",
            design.name
        );
    }
    write_out(lake, design, &mut rest).await?;
    Ok(rest.written)
}

fn hashes(batch: &RecordBatch, column: &str) -> Vec<i64> {
    batch
        .column_by_name(column)
        .and_then(|column| column.as_primitive_opt::<Int64Type>())
        .map(|hashes| hashes.values().to_vec())
        .unwrap_or_default()
}

/// The year a data file is of: it is in the file's folder, not among its columns.
fn event_year(file: &Add) -> Option<i32> {
    file.partition_values
        .get(EVENT_YEAR)?
        .as_ref()?
        .parse()
        .ok()
}

/// Puts a table's file on disk for good, where the lake is on this machine.
pub fn sync_in_lake(lake: &Lake, design: &Table, file: &str) -> Result<(), LakeError> {
    match lake.folder() {
        Some(folder) => sync_file(&folder, &folder.join(design.name).join(file)),
        None => Ok(()),
    }
}
