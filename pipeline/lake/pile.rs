//! Rows on their way into a table: sorted and written to data files that no commit names yet.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::compute::{SortColumn, concat_batches, lexsort_to_indices, take_record_batch};
use deltalake::kernel::Add;
use deltalake::writer::{DeltaWriter, RecordBatchWriter};
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::properties::WriterProperties;
use parquet::schema::types::ColumnPath;

use super::tables::{EVENT_YEAR, KEY_HASH, ROW_HASH, Table};
use super::{Lake, LakeError, table_url};

/// Rows on their way into a table: in memory, or in data files that no commit names yet.
#[derive(Default)]
pub struct Pile {
    pub batches: Vec<RecordBatch>,
    pub rows: usize,
    pub written: Vec<Add>,
}

impl Pile {
    pub fn absorb(&mut self, other: &mut Pile) {
        self.batches.append(&mut other.batches);
        self.written.append(&mut other.written);
        self.rows += std::mem::take(&mut other.rows);
    }

    pub fn is_empty(&self) -> bool {
        self.batches.is_empty() && self.written.is_empty()
    }
}

/// Sorts the waiting rows and writes them to data files that no commit names yet.
pub async fn write_out(
    lake: &Lake,
    design: &'static Table,
    pile: &mut Pile,
) -> Result<(), LakeError> {
    if pile.batches.is_empty() {
        return Ok(());
    }
    let shape = |source| LakeError::Shape {
        table: design.name,
        source,
    };
    let rows = concat_batches(&design.lake_schema(), &pile.batches).map_err(shape)?;
    pile.batches.clear();
    pile.rows = 0;
    let keys: Vec<SortColumn> = design
        .sorted_by
        .iter()
        .filter_map(|name| rows.column_by_name(name))
        .map(|values| SortColumn {
            values: Arc::clone(values),
            options: None,
        })
        .collect();
    let order = lexsort_to_indices(&keys, None).map_err(shape)?;
    let sorted = take_record_batch(&rows, &order).map_err(shape)?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(
            ZstdLevel::try_new(3).expect("zstd has a level 3"),
        ))
        // No two are alike, so a dictionary would only double what a load has to read.
        .set_column_dictionary_enabled(ColumnPath::from(ROW_HASH), false)
        .set_column_dictionary_enabled(ColumnPath::from(KEY_HASH), false)
        .build();
    // By the design's schema, which an older table gets with the commit that names these files.
    let partition = design.event_time.map(|_| vec![EVENT_YEAR.to_owned()]);
    let url = table_url(&lake.root, design)?;
    let mut writer = RecordBatchWriter::try_new(url, design.lake_schema(), partition, None)
        .map_err(LakeError::delta(design.name, "written"))?
        .with_writer_properties(properties);
    writer
        .write(sorted)
        .await
        .map_err(LakeError::delta(design.name, "written"))?;
    let mut written = writer
        .flush()
        .await
        .map_err(LakeError::delta(design.name, "written"))?;
    pile.written.append(&mut written);
    Ok(())
}
