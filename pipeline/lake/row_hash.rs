//! A hash of a row's content, by which a fact that comes again is known again.
//!
//! It covers the columns a dump gives, never the load that brought them, so an overlapping file
//! adds only what is new. 64 bits of SHA-256: among ten million rows the chance that any two
//! different ones collide is below 3 in a million (n²/2⁶⁵).

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{
    DataType, Date32Type, Float64Type, Int64Type, TimeUnit, TimestampMicrosecondType,
};
use arrow::error::ArrowError;
use sha2::{Digest, Sha256};

/// One hash a row of `batch`, over all its columns in order.
///
/// Errors when a column has a type that no raw table uses.
pub fn row_hashes(batch: &RecordBatch) -> Result<Vec<i64>, ArrowError> {
    let mut bytes = Vec::with_capacity(256);
    (0..batch.num_rows())
        .map(|row| {
            bytes.clear();
            for column in batch.columns() {
                push_value(&mut bytes, column, row)?;
            }
            let digest = Sha256::digest(&bytes);
            let head: [u8; 8] = digest[..8].try_into().expect("a digest has 32 bytes");
            Ok(i64::from_le_bytes(head))
        })
        .collect()
}

/// Each value starts with a byte that tells null from value, and text carries its length, so no
/// two different rows write the same bytes.
fn push_value(bytes: &mut Vec<u8>, column: &ArrayRef, row: usize) -> Result<(), ArrowError> {
    if column.is_null(row) {
        bytes.push(0);
        return Ok(());
    }
    bytes.push(1);
    match column.data_type() {
        DataType::Utf8 => {
            let text = column.as_string::<i32>().value(row);
            bytes.extend_from_slice(&(text.len() as u64).to_le_bytes());
            bytes.extend_from_slice(text.as_bytes());
        }
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
