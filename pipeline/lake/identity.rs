//! By what a fact is known again: a hash of its key, and one of its content.
//!
//! Both are over names and values, with absent values left out, so neither the order of columns nor a
//! column that came later changes them. What intake derives (a local day) and how a row came is no content. A second row
//! of one key in one file is a second fact, as of a battery tested twice on a day that has no time.
//! 64 bits of SHA-256: among ten million rows the chance that any two different ones collide is below
//! 3 in a million (n²/2⁶⁵).

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{
    DataType, Date32Type, Float64Type, Int64Type, TimeUnit, TimestampMicrosecondType,
};
use arrow::error::ArrowError;
use sha2::{Digest, Sha256};

use super::tables::{Column, Table};

/// One content hash a row of `batch`, over the columns of the table's design that it has.
///
/// Errors when a column has a type that no raw table uses.
pub fn contents(table: &Table, batch: &RecordBatch) -> Result<Vec<i64>, ArrowError> {
    hashes(batch, &|column| column.is_content, table)
}

/// One key hash a row; the content's where the table's rows are never corrected.
pub fn keys(table: &Table, batch: &RecordBatch) -> Result<Vec<i64>, ArrowError> {
    match table.key {
        [] => contents(table, batch),
        key => hashes(batch, &|column| key.contains(&column.name), table),
    }
}

/// The key of the file's `place`-th row (from 0) of one key.
pub fn nth_key(key: i64, place: usize) -> i64 {
    if place == 0 {
        return key;
    }
    let mut bytes = key.to_le_bytes().to_vec();
    bytes.extend_from_slice(&(place as u64).to_le_bytes());
    head(&bytes)
}

fn hashes(
    batch: &RecordBatch,
    is_told: &dyn Fn(&Column) -> bool,
    table: &Table,
) -> Result<Vec<i64>, ArrowError> {
    let mut columns: Vec<(&str, &ArrayRef)> = table
        .columns
        .iter()
        .filter(|column| is_told(column))
        .filter_map(|column| Some((column.name, batch.column_by_name(column.name)?)))
        .collect();
    columns.sort_unstable_by_key(|(name, _)| *name);
    let mut bytes = Vec::with_capacity(512);
    (0..batch.num_rows())
        .map(|row| {
            bytes.clear();
            for (name, column) in &columns {
                if column.is_valid(row) {
                    push_text(&mut bytes, name);
                    push_value(&mut bytes, column, row)?;
                }
            }
            Ok(head(&bytes))
        })
        .collect()
}

fn head(bytes: &[u8]) -> i64 {
    let digest = Sha256::digest(bytes);
    let mut first = [0; 8];
    first.copy_from_slice(&digest[..8]);
    i64::from_le_bytes(first)
}

/// Text carries its length, so no two different rows write the same bytes.
fn push_text(bytes: &mut Vec<u8>, text: &str) {
    bytes.extend_from_slice(&(text.len() as u64).to_le_bytes());
    bytes.extend_from_slice(text.as_bytes());
}

fn push_value(bytes: &mut Vec<u8>, column: &ArrayRef, row: usize) -> Result<(), ArrowError> {
    match column.data_type() {
        DataType::Utf8 => push_text(bytes, column.as_string::<i32>().value(row)),
        DataType::Int64 => {
            let value = column.as_primitive::<Int64Type>().value(row);
            bytes.extend_from_slice(&value.to_le_bytes());
        }
        DataType::Float64 => {
            // Adding zero makes -0 and 0 the same fact.
            let value = column.as_primitive::<Float64Type>().value(row) + 0.0;
            bytes.extend_from_slice(&value.to_bits().to_le_bytes());
        }
        DataType::Date32 => {
            let value = column.as_primitive::<Date32Type>().value(row);
            bytes.extend_from_slice(&value.to_le_bytes());
        }
        DataType::Timestamp(TimeUnit::Microsecond, _) => {
            let value = column.as_primitive::<TimestampMicrosecondType>().value(row);
            bytes.extend_from_slice(&value.to_le_bytes());
        }
        DataType::Boolean => bytes.push(u8::from(column.as_boolean().value(row))),
        other => {
            return Err(ArrowError::InvalidArgumentError(format!(
                "a raw table has no columns of type {other}"
            )));
        }
    }
    Ok(())
}
