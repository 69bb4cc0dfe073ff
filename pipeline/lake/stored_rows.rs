//! Rows as a data file holds them, brought to the table's present design.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Int32Array, Int64Array, RecordBatch, new_null_array};
use arrow::compute::cast;
use arrow::datatypes::Int64Type;
use arrow::error::ArrowError;

use super::identity::{contents, keys, nth_key};
use super::tables::{CORRECTS, EVENT_YEAR, KEY_HASH, ROW_HASH, Table};

/// The batch with every column of the design; those it is too old for are absent in every row. The
/// year is in the file's folder, not among its columns.
pub fn as_designed(
    design: &Table,
    batch: &RecordBatch,
    year: Option<i32>,
) -> Result<RecordBatch, ArrowError> {
    let schema = design.lake_schema();
    let rows = batch.num_rows();
    let columns = schema
        .fields()
        .iter()
        .map(|field| match (batch.column_by_name(field.name()), year) {
            (Some(column), _) => cast(column, field.data_type()),
            (None, Some(year)) if field.name() == EVENT_YEAR => {
                Ok(Arc::new(Int32Array::from(vec![year; rows])) as ArrayRef)
            }
            (None, _) => Ok(new_null_array(field.data_type(), rows)),
        })
        .collect::<Result<Vec<_>, _>>()?;
    RecordBatch::try_new(schema, columns)
}

/// The batch with another column in the place of one.
pub fn with_column(
    batch: &RecordBatch,
    name: &str,
    column: ArrayRef,
) -> Result<RecordBatch, ArrowError> {
    let place = batch.schema().index_of(name)?;
    let mut columns = batch.columns().to_vec();
    columns[place] = column;
    RecordBatch::try_new(batch.schema(), columns)
}

/// A column of hashes.
pub fn integers<'b>(batch: &'b RecordBatch, name: &str) -> Option<&'b Int64Array> {
    batch.column_by_name(name)?.as_primitive_opt::<Int64Type>()
}

/// Key and content of rows of the first release, which carried neither: taken from what is stored.
/// The second row of one key is a second fact.
pub fn first_release_hashes(
    design: &Table,
    batch: &RecordBatch,
    taken: &mut HashSet<i64>,
) -> Result<Vec<(i64, i64)>, ArrowError> {
    let contents = contents(design, batch)?;
    let keys = keys(design, batch)?;
    Ok(keys
        .into_iter()
        .zip(contents)
        .map(|(key, content)| {
            let mut place = 0;
            while !taken.insert(nth_key(key, place)) {
                place += 1;
            }
            (nth_key(key, place), content)
        })
        .collect())
}

/// All rows of an event year, with those of the first release given their hashes; what corrects one of
/// them names it by its new hash.
pub fn with_hashes(design: &Table, rows: RecordBatch) -> Result<RecordBatch, ArrowError> {
    let (Some(hashes), Some(present), Some(corrects)) = (
        integers(&rows, ROW_HASH),
        integers(&rows, KEY_HASH),
        integers(&rows, CORRECTS),
    ) else {
        return Ok(rows);
    };
    if present.null_count() == 0 {
        return Ok(rows);
    }
    let is_old = arrow::compute::is_null(present)?;
    let old = arrow::compute::filter_record_batch(&rows, &is_old)?;
    let mut found = first_release_hashes(design, &old, &mut HashSet::new())?.into_iter();
    let mut renamed = HashMap::new();
    let mut row_hashes = Vec::with_capacity(rows.num_rows());
    let mut key_hashes = Vec::with_capacity(rows.num_rows());
    for row in 0..rows.num_rows() {
        let old = if present.is_null(row) {
            found.next()
        } else {
            None
        };
        match old {
            Some((key, content)) => {
                renamed.insert(hashes.value(row), content);
                key_hashes.push(key);
                row_hashes.push(content);
            }
            None => {
                key_hashes.push(present.value(row));
                row_hashes.push(hashes.value(row));
            }
        }
    }
    let corrects: Int64Array = corrects
        .iter()
        .map(|hash| hash.map(|hash| renamed.get(&hash).copied().unwrap_or(hash)))
        .collect();
    let rows = with_column(&rows, ROW_HASH, Arc::new(Int64Array::from(row_hashes)))?;
    let rows = with_column(&rows, KEY_HASH, Arc::new(Int64Array::from(key_hashes)))?;
    with_column(&rows, CORRECTS, Arc::new(corrects))
}
