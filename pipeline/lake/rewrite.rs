//! Writes data files anew: fewer of them, or without some rows. The facts that stay are the same facts.
//!
//! An event year is written anew as a whole, or a table that has no years. Whatever corrects a row
//! stands in its year, since the instant is part of each key, so rows of the first release can be given
//! their hashes on the way. The commit lands on the state that was read, or it is done again.

use std::collections::{BTreeMap, HashMap};

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use arrow::error::ArrowError;
use deltalake::kernel::{Action, Remove};
use deltalake::protocol::SaveMode;
use object_store::ObjectStoreExt;
use object_store::path::Path;

use super::columns::read_file;
use super::commit::commit_at;
use super::pile::{Pile, write_out};
use super::stored_rows::{as_designed, with_hashes};
use super::tables::{EVENT_YEAR, Table};
use super::{Lake, LakeError};

/// The data files of one event year.
pub struct Year {
    pub files: Vec<Path>,
    pub bytes: u64,
    removes: Vec<Remove>,
}

/// What a rewriting is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// The same rows in fewer files.
    FewerFiles,
    /// Only what is left of the rows.
    OtherRows,
}

/// Writes those years of the table anew that `which` names, with the rows that `keep` leaves of them.
/// Answers how many rows are gone.
pub async fn rewrite(
    lake: &mut Lake,
    design: &'static Table,
    purpose: Purpose,
    which: &(dyn Fn(&Year) -> bool + Sync),
    keep: &(dyn Fn(&RecordBatch) -> Result<RecordBatch, ArrowError> + Sync),
) -> Result<usize, LakeError> {
    let shape = |source| LakeError::Shape {
        table: design.name,
        source,
    };
    loop {
        let delta = lake.delta(design)?;
        let store = delta.object_store();
        let mut actions = Vec::new();
        let mut written = Pile::default();
        let (mut gone, mut is_changed) = (0, false);
        for (year, of_year) in years(lake, design)? {
            if !which(&of_year) {
                continue;
            }
            let mut batches = Vec::new();
            for path in &of_year.files {
                for batch in read_file(store.clone(), design.name, path, None).await? {
                    batches.push(as_designed(design, &batch, year).map_err(shape)?);
                }
            }
            let all = concat_batches(&design.lake_schema(), &batches).map_err(shape)?;
            let kept = keep(&all).map_err(shape)?;
            if purpose == Purpose::OtherRows && kept == all {
                continue;
            }
            is_changed = true;
            gone += all.num_rows() - kept.num_rows();
            let kept = with_hashes(design, kept).map_err(shape)?;
            actions.extend(of_year.removes.into_iter().map(|mut remove| {
                remove.data_change = purpose == Purpose::OtherRows;
                Action::Remove(remove)
            }));
            if kept.num_rows() > 0 {
                written.batches.push(kept);
                write_out(lake, design, &mut written).await?;
            }
        }
        if !is_changed {
            return Ok(0);
        }
        for file in &mut written.written {
            file.data_change = purpose == Purpose::OtherRows;
        }
        let paths: Vec<String> = written.written.iter().map(|add| add.path.clone()).collect();
        actions.extend(written.written.into_iter().map(Action::Add));
        match commit_at(lake, design, actions, SaveMode::Overwrite, HashMap::new()).await? {
            Some(_) => {
                lake.reload(design).await?;
                return Ok(gone);
            }
            None => {
                for path in paths {
                    // No commit names it; that it cannot be removed is no harm.
                    let _ = store.delete(&Path::from(path)).await;
                }
                lake.reload(design).await?;
            }
        }
    }
}

/// The table's data files by event year; none stands for a table that has no years.
pub fn years(
    lake: &Lake,
    design: &'static Table,
) -> Result<BTreeMap<Option<i32>, Year>, LakeError> {
    let snapshot = lake
        .delta(design)?
        .snapshot()
        .map_err(LakeError::delta(design.name, "read"))?;
    let mut years: BTreeMap<Option<i32>, Year> = BTreeMap::new();
    for file in snapshot.log_data().iter() {
        let year = file
            .partition_values_map()
            .get(EVENT_YEAR)
            .cloned()
            .flatten()
            .and_then(|year| year.parse().ok());
        let of_year = years.entry(year).or_insert_with(|| Year {
            files: Vec::new(),
            bytes: 0,
            removes: Vec::new(),
        });
        of_year.files.push(file.object_store_path());
        of_year.bytes += u64::try_from(file.size()).unwrap_or(0);
        of_year.removes.push(file.remove_action(true));
    }
    Ok(years)
}
