//! Reads a few columns of a table straight from its data files: what the loader needs to know
//! which facts are there already.

use arrow::array::RecordBatch;
use deltalake::{DeltaTable, DeltaTableError};
use object_store::path::Path;
use object_store::{ObjectStore, ObjectStoreExt};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use super::LakeError;
use super::tables::EVENT_YEAR;

/// The named columns of every data file, of one event year where `year` is given.
pub async fn read_columns(
    delta: &DeltaTable,
    table: &'static str,
    columns: &[&str],
    year: Option<i32>,
) -> Result<Vec<RecordBatch>, LakeError> {
    let snapshot = delta.snapshot().map_err(LakeError::delta(table, "read"))?;
    let store = delta.object_store();
    let mut batches = Vec::new();
    for file in snapshot.log_data() {
        let path = file.object_store_path();
        // Partition folders are named column=value; a file of another year is not opened.
        if let Some(year) = year {
            let folder = format!("{EVENT_YEAR}={year}");
            if !path.parts().any(|part| part.as_ref() == folder) {
                continue;
            }
        }
        batches.extend(read_file(store.as_ref(), table, &path, Some(columns)).await?);
    }
    Ok(batches)
}

/// One data file's columns, all of them where none are named.
pub async fn read_file(
    store: &dyn ObjectStore,
    table: &'static str,
    path: &Path,
    columns: Option<&[&str]>,
) -> Result<Vec<RecordBatch>, LakeError> {
    let fetched = |source| LakeError::delta(table, "read")(DeltaTableError::from(source));
    let bytes = store.get(path).await.map_err(fetched)?;
    let bytes = bytes.bytes().await.map_err(fetched)?;
    let parquet = |source| LakeError::Parquet { table, source };
    let builder = ParquetRecordBatchReaderBuilder::try_new(bytes).map_err(parquet)?;
    let mask = match columns {
        Some(columns) => ProjectionMask::columns(builder.parquet_schema(), columns.iter().copied()),
        None => ProjectionMask::all(),
    };
    builder
        .with_projection(mask)
        .build()
        .map_err(parquet)?
        .map(|batch| batch.map_err(|source| LakeError::Shape { table, source }))
        .collect()
}
