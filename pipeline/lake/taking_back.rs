//! Takes facts out again: all that one load brought, or all that is known of a vehicle.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, BooleanArray, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use arrow::datatypes::DataType;
use arrow::error::ArrowError;
use chrono::{TimeDelta, Utc};
use futures::TryStreamExt;
use object_store::{ObjectStore, ObjectStoreExt};

use super::rewrite::{Purpose, rewrite};
use super::stored_rows::with_column;
use super::tables::{LOAD_ID, LOAD_LOG, TABLES};
use super::upkeep::{checkpoint, clear};
use super::{Lake, LakeError};

/// Rows taken out, by table.
pub type TakenOut = BTreeMap<&'static str, usize>;

/// Takes back what the load of that id brought; its instant alone names it, too. The load log's rows
/// go last, so that a run cut short can be done again. Facts that it had corrected stand as before.
pub async fn take_back(lake: &mut Lake, load: &str) -> Result<TakenOut, LakeError> {
    let is_of_load = |id: &str| id == load || id.split_once(' ').is_some_and(|(_, at)| at == load);
    let keep = |rows: &RecordBatch| {
        let ids = rows
            .column_by_name(LOAD_ID)
            .and_then(|column| column.as_string_opt::<i32>())
            .ok_or_else(|| ArrowError::SchemaError("no load_id".to_owned()))?;
        let stays: BooleanArray = ids.iter().map(|id| Some(!is_of_load(id?))).collect();
        filter_record_batch(rows, &stays)
    };
    let mut taken_out = TakenOut::new();
    let log_last = TABLES
        .iter()
        .filter(|table| table.name != LOAD_LOG)
        .chain(TABLES.iter().filter(|table| table.name == LOAD_LOG));
    for table in log_last {
        if !lake.has(table) {
            continue;
        }
        let gone = rewrite(lake, table, Purpose::OtherRows, &|_| true, &keep).await?;
        if gone > 0 {
            taken_out.insert(table.name, gone);
        }
    }
    Ok(taken_out)
}

/// Takes out every row of these vehicles and every mention of them, then the old versions, logs and
/// files that still hold them.
pub async fn forget(lake: &mut Lake, vins: &[String]) -> Result<TakenOut, LakeError> {
    let mut taken_out = TakenOut::new();
    for table in TABLES {
        if !lake.has(table) {
            continue;
        }
        let keep = |rows: &RecordBatch| without_vehicles(rows, vins);
        let gone = rewrite(lake, table, Purpose::OtherRows, &|_| true, &keep).await?;
        if gone > 0 {
            taken_out.insert(table.name, gone);
        }
    }
    for table in TABLES {
        if !lake.has(table) {
            continue;
        }
        checkpoint(lake, table).await?;
        clear(lake, table, Utc::now() + TimeDelta::days(1)).await?;
        let delta = lake.delta(table)?;
        let version = delta.version().unwrap_or(0);
        let log_store = delta.log_store();
        let store = log_store.object_store(None);
        let failed =
            |error: object_store::Error| LakeError::delta(table.name, "cleared")(error.into());
        let entries: Vec<_> = store
            .list(Some(log_store.log_path()))
            .try_collect()
            .await
            .map_err(failed)?;
        for entry in entries {
            let digits = entry.location.filename().and_then(|name| name.get(..20));
            let older = digits
                .and_then(|digits| digits.parse::<u64>().ok())
                .is_some_and(|of| of < version);
            if older {
                store.delete(&entry.location).await.map_err(failed)?;
            }
        }
    }
    Ok(taken_out)
}

/// The rows that are not of these vehicles, with the vehicles' mentions in other rows' texts struck out.
/// A quarantined row that names one goes as a whole.
fn without_vehicles(rows: &RecordBatch, vins: &[String]) -> Result<RecordBatch, ArrowError> {
    let names_one = |text: &str| {
        let text = text.to_ascii_uppercase();
        vins.iter().any(|vin| text.contains(vin.as_str()))
    };
    let texts = |name: &str| Some(rows.column_by_name(name)?.as_string_opt::<i32>()?.clone());
    let of_vehicle: Vec<StringArray> = ["vin", "raw_text"].into_iter().filter_map(texts).collect();
    let stays: BooleanArray = (0..rows.num_rows())
        .map(|row| {
            let named = |column: &StringArray| column.is_valid(row) && names_one(column.value(row));
            Some(!of_vehicle.iter().any(named))
        })
        .collect();
    let mut rest = filter_record_batch(rows, &stays)?;
    let schema = rest.schema();
    for field in schema.fields() {
        if field.data_type() != &DataType::Utf8 {
            continue;
        }
        let Some(texts) = rest
            .column_by_name(field.name())
            .and_then(|column| column.as_string_opt::<i32>())
        else {
            continue;
        };
        if !texts.iter().flatten().any(names_one) {
            continue;
        }
        let struck: StringArray = texts
            .iter()
            .map(|text| text.map(|text| if names_one(text) { "forgotten" } else { text }))
            .collect();
        rest = with_column(&rest, field.name(), Arc::new(struck) as ArrayRef)?;
    }
    Ok(rest)
}
