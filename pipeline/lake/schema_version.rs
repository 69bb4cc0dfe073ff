//! The version of a table's schema, kept in the table's own metadata.
//!
//! A table of an older version is read as it is: what it has no column for is absent. The next commit
//! raises it, in the same entry of the log that brings the rows. A table of a newer version is not
//! touched, since this program would leave out what it does not know.

use std::collections::HashMap;

use arrow::error::ArrowError;
use deltalake::kernel::engine::arrow_conversion::TryIntoKernel;
use deltalake::kernel::{Action, Metadata, MetadataExt, Protocol, StructField, StructType};
use deltalake::{DeltaTable, DeltaTableError};
use serde_json::json;

use super::LakeError;
use super::tables::{EVENT_YEAR, Table};

/// The metadata's key that holds the version.
const VERSION_KEY: &str = "voltwane.schemaVersion";

/// The version a table stands at: the first where none is named, as in lakes made before tables
/// carried one.
pub fn stored_version(delta: &DeltaTable, table: &Table) -> Result<u32, LakeError> {
    let snapshot = delta
        .snapshot()
        .map_err(LakeError::delta(table.name, "read"))?;
    let named = snapshot.metadata().configuration().get(VERSION_KEY);
    Ok(named.map_or(1, |version| version.parse().unwrap_or(u32::MAX)))
}

/// The actions that make a table.
pub fn making(table: &Table) -> Result<(Protocol, Metadata), LakeError> {
    let broken = |error: serde_json::Error| {
        LakeError::delta(table.name, "created")(DeltaTableError::Generic(error.to_string()))
    };
    // What every reader of Delta knows: no further feature is asked for.
    let protocol = serde_json::from_value(json!({ "minReaderVersion": 1, "minWriterVersion": 2 }))
        .map_err(broken)?;
    let partition: &[&str] = match table.event_time {
        Some(_) => &[EVENT_YEAR],
        None => &[],
    };
    let version = HashMap::from([(VERSION_KEY, table.version().to_string())]);
    let metadata = StructType::try_new(fields(table)?)
        .map_err(DeltaTableError::from)
        .and_then(|schema| {
            Ok(deltalake::kernel::new_metadata(
                &schema, partition, version,
            )?)
        })
        .and_then(|metadata| Ok(metadata.with_name(table.name.to_owned())?))
        .and_then(|metadata| Ok(metadata.with_description(table.row_is.to_owned())?))
        .map_err(LakeError::delta(table.name, "created"))?;
    Ok((protocol, metadata))
}

/// The action that raises a table to the present version, where it stands below.
pub fn raising(delta: &DeltaTable, table: &Table) -> Result<Option<Action>, LakeError> {
    if stored_version(delta, table)? >= table.version() {
        return Ok(None);
    }
    let failed = |error| LakeError::delta(table.name, "brought up")(error);
    let metadata = delta.snapshot().map_err(failed)?.metadata().clone();
    let failed = |error| LakeError::delta(table.name, "brought up")(error);
    let present = metadata
        .parse_schema()
        .map_err(|error| failed(DeltaTableError::from(error)))?;
    let added = fields(table)?
        .into_iter()
        .filter(|field| present.field(field.name()).is_none());
    let all: Vec<StructField> = present.fields().cloned().chain(added).collect();
    let failed = |error| LakeError::delta(table.name, "brought up")(error);
    let raised = StructType::try_new(all)
        .map_err(DeltaTableError::from)
        .and_then(|schema| Ok(metadata.with_schema(&schema)?))
        .and_then(|metadata| {
            let version = table.version().to_string();
            Ok(metadata.add_config_key(VERSION_KEY.to_owned(), version)?)
        })
        .map_err(failed)?;
    Ok(Some(Action::Metadata(raised)))
}

fn fields(table: &Table) -> Result<Vec<StructField>, LakeError> {
    table
        .lake_schema()
        .fields()
        .iter()
        .map(|field| field.as_ref().try_into_kernel())
        .collect::<Result<_, ArrowError>>()
        .map_err(|source| LakeError::Shape {
            table: table.name,
            source,
        })
}
