//! Reads columns of a table straight from its data files: what the loader needs to know which facts
//! are there already. Only the columns asked for are fetched.

use std::ops::Range;
use std::sync::Arc;

use arrow::array::RecordBatch;
use bytes::Bytes;
use deltalake::DeltaTable;
use futures::future::BoxFuture;
use futures::{FutureExt, TryFutureExt, TryStreamExt};
use object_store::path::Path;
use object_store::{GetOptions, GetRange, ObjectStore, ObjectStoreExt};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ArrowReaderOptions;
use parquet::arrow::async_reader::{
    AsyncFileReader, MetadataSuffixFetch, ParquetRecordBatchStreamBuilder,
};
use parquet::errors::{ParquetError, Result as ParquetResult};
use parquet::file::metadata::{ParquetMetaData, ParquetMetaDataReader};

use super::LakeError;
use super::tables::EVENT_YEAR;

/// The data files of one event year, or all where none is given.
pub fn files_of_year(
    delta: &DeltaTable,
    table: &'static str,
    year: Option<i32>,
) -> Result<Vec<Path>, LakeError> {
    let snapshot = delta.snapshot().map_err(LakeError::delta(table, "read"))?;
    let folder = year.map(|year| format!("{EVENT_YEAR}={year}"));
    let files = snapshot.log_data();
    Ok(files
        .iter()
        .map(|file| file.object_store_path())
        // Partition folders are named column=value; a file of another year is not opened.
        .filter(|path| match &folder {
            Some(folder) => path.parts().any(|part| part.as_ref() == folder),
            None => true,
        })
        .collect())
}

/// One data file's columns: all of them where none are named, or where the file is too old to have
/// each of those named.
pub async fn read_file(
    store: Arc<dyn ObjectStore>,
    table: &'static str,
    path: &Path,
    columns: Option<&[&str]>,
) -> Result<Vec<RecordBatch>, LakeError> {
    let parquet = |source| LakeError::Parquet { table, source };
    let reader = StoredFile {
        store,
        path: path.clone(),
    };
    let builder = ParquetRecordBatchStreamBuilder::new(reader)
        .await
        .map_err(parquet)?;
    let has = |name: &&str| builder.schema().column_with_name(name).is_some();
    let mask = match columns {
        Some(columns) if columns.iter().all(has) => {
            ProjectionMask::columns(builder.parquet_schema(), columns.iter().copied())
        }
        _ => ProjectionMask::all(),
    };
    builder
        .with_projection(mask)
        .build()
        .map_err(parquet)?
        .try_collect()
        .await
        .map_err(parquet)
}

/// A file of the lake, of which Parquet fetches the ranges it needs.
struct StoredFile {
    store: Arc<dyn ObjectStore>,
    path: Path,
}

fn not_fetched(error: object_store::Error) -> ParquetError {
    ParquetError::External(Box::new(error))
}

impl AsyncFileReader for StoredFile {
    fn get_bytes(&mut self, range: Range<u64>) -> BoxFuture<'_, ParquetResult<Bytes>> {
        self.store
            .get_range(&self.path, range)
            .map_err(not_fetched)
            .boxed()
    }

    fn get_metadata<'a>(
        &'a mut self,
        options: Option<&'a ArrowReaderOptions>,
    ) -> BoxFuture<'a, ParquetResult<Arc<ParquetMetaData>>> {
        async move {
            let metadata = ParquetMetaDataReader::new()
                .with_arrow_reader_options(options)
                .load_via_suffix_and_finish(self)
                .await?;
            Ok(Arc::new(metadata))
        }
        .boxed()
    }
}

impl MetadataSuffixFetch for &mut StoredFile {
    fn fetch_suffix(&mut self, suffix: usize) -> BoxFuture<'_, ParquetResult<Bytes>> {
        async move {
            let options = GetOptions {
                range: Some(GetRange::Suffix(suffix as u64)),
                ..Default::default()
            };
            let found = self.store.get_opts(&self.path, options).await;
            found
                .map_err(not_fetched)?
                .bytes()
                .await
                .map_err(not_fetched)
        }
        .boxed()
    }
}
