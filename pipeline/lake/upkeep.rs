//! Keeps a lake quick over years of weekly loads: few data files, a short log, nothing left behind.
//!
//! Done at the end of a load, under its lock, for the tables where it pays. Failing here fails no load:
//! the facts are committed, and the next load tries again.

use std::collections::HashSet;

use chrono::{DateTime, TimeDelta, Utc};
use deltalake::checkpoints::{cleanup_metadata, create_checkpoint};
use futures::TryStreamExt;
use object_store::path::Path;
use object_store::{ObjectStore, ObjectStoreExt};

use super::commit::sync_in_lake;
use super::rewrite::{Purpose, rewrite, years};
use super::tables::{TABLES, Table};
use super::{Lake, LakeError};

/// Data files of one event year from which on they are made one.
const MOST_FILES: usize = 8;
/// Years of more bytes than this stay as they are: their files are large already.
const MOST_BYTES: u64 = 256 << 20;
/// Commits between two checkpoints of a log.
const COMMITS_PER_CHECKPOINT: u64 = 10;
/// A file that no commit names, or that one named no longer, is kept this long for whoever still reads.
const KEPT: TimeDelta = TimeDelta::days(1);

/// Looks after every table. What fails is told and left.
pub async fn look_after(lake: &mut Lake) {
    for table in TABLES {
        if let Err(error) = look_after_table(lake, table).await {
            tracing::warn!("the upkeep of the lake is left to the next load: {error}");
        }
    }
}

async fn look_after_table(lake: &mut Lake, table: &'static Table) -> Result<(), LakeError> {
    if !lake.has(table) {
        return Ok(());
    }
    rewrite(
        lake,
        table,
        Purpose::FewerFiles,
        &|year| year.files.len() >= MOST_FILES && year.bytes <= MOST_BYTES,
        &|rows| Ok(rows.clone()),
    )
    .await?;
    let version = lake.delta(table)?.version().unwrap_or(0);
    if version >= lake.checkpoint(table).await? + COMMITS_PER_CHECKPOINT {
        checkpoint(lake, table).await?;
        let delta = lake.delta(table)?;
        cleanup_metadata(delta, None)
            .await
            .map_err(LakeError::delta(table.name, "cleared"))?;
        clear(lake, table, Utc::now() - KEPT).await?;
    }
    Ok(())
}

/// Writes the table's state as one file, from which its log is read on.
pub async fn checkpoint(lake: &Lake, table: &'static Table) -> Result<(), LakeError> {
    let delta = lake.delta(table)?;
    create_checkpoint(delta, None)
        .await
        .map_err(LakeError::delta(table.name, "summed up"))?;
    let version = delta.version().unwrap_or(0);
    for file in [
        format!("_delta_log/{version:020}.checkpoint.parquet"),
        "_delta_log/_last_checkpoint".to_owned(),
    ] {
        sync_in_lake(lake, table, &file)?;
    }
    Ok(())
}

/// Removes the files below the table that its present state does not name and that are older than
/// `before`: data files written anew, and what killed loads left.
pub async fn clear(
    lake: &Lake,
    table: &'static Table,
    before: DateTime<Utc>,
) -> Result<(), LakeError> {
    let named: HashSet<Path> = years(lake, table)?
        .into_values()
        .flat_map(|year| year.files)
        .collect();
    let delta = lake.delta(table)?;
    let store = delta.object_store();
    let failed = |error: object_store::Error| LakeError::delta(table.name, "cleared")(error.into());
    let files: Vec<_> = store.list(None).try_collect().await.map_err(failed)?;
    for file in files {
        let name = file.location.filename().unwrap_or_default();
        let in_log = file.location.as_ref().contains("_delta_log");
        let is_left_over = match in_log {
            true => name.ends_with(".tmp") || name.contains('#'),
            false => name.ends_with(".parquet") && !named.contains(&file.location),
        };
        if is_left_over && file.last_modified < before {
            store.delete(&file.location).await.map_err(failed)?;
        }
    }
    Ok(())
}
