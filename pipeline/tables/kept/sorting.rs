//! Rows as they come, sorted into the buckets of their vehicles.

use std::sync::Arc;

use arrow::array::{Array, AsArray, RecordBatch, RecordBatchOptions, StringArray, UInt32Array};
use arrow::compute::{cast, take_record_batch};
use arrow::datatypes::{DataType, SchemaRef};
use arrow::error::ArrowError;

use super::KeptTable;
use super::shelf::{Chunk, Shelf, joined};

/// Rows gathered before they are put away: few enough that they take some tens of megabytes.
pub const GATHERED_ROWS: usize = 1 << 17;

/// Where there are many buckets more are gathered, so that a bucket's share of them is worth a chunk.
const OF_A_BUCKET: usize = 1 << 10;

/// Sorts the rows of one table; of one without vehicles all go to one bucket.
pub struct Sorter {
    schema: SchemaRef,
    vehicle: Option<usize>,
    gathered: Vec<RecordBatch>,
    gathered_rows: usize,
    buckets: Vec<Vec<Chunk>>,
    shelf: Arc<Shelf>,
}

impl Sorter {
    /// Of a table with this schema; of one of vehicles, the column of the VIN and how many buckets.
    pub fn new(schema: SchemaRef, vehicle: Option<(usize, usize)>, shelf: Arc<Shelf>) -> Self {
        let count = vehicle.map_or(1, |(_, buckets)| buckets);
        Self {
            schema,
            vehicle: vehicle.map(|(vin, _)| vin),
            gathered: Vec::new(),
            gathered_rows: 0,
            buckets: vec![Vec::new(); count],
            shelf,
        }
    }

    /// Takes rows. They are brought to the table's types: a plan may promise one of two text types and
    /// give the other.
    pub fn push(&mut self, batch: &RecordBatch) -> Result<(), ArrowError> {
        if batch.num_rows() == 0 {
            return Ok(());
        }
        let batch = brought_to(&self.schema, batch)?;
        self.gathered_rows += batch.num_rows();
        self.gathered.push(batch);
        if self.gathered_rows < GATHERED_ROWS.max(self.buckets.len() * OF_A_BUCKET) {
            return Ok(());
        }
        self.put()
    }

    /// The table of all rows.
    pub fn finish(mut self) -> Result<KeptTable, ArrowError> {
        self.put()?;
        let vins = self.vehicle.map(|vin| [vin].into());
        Ok(KeptTable::new(self.schema, vins, self.buckets))
    }

    fn put(&mut self) -> Result<(), ArrowError> {
        let gathered = std::mem::take(&mut self.gathered);
        self.gathered_rows = 0;
        if gathered.is_empty() {
            return Ok(());
        }
        let (rows, held) = joined(&self.schema, &gathered)?;
        drop(gathered);
        let count = self.buckets.len();
        let Some(vehicle) = self.vehicle.filter(|_| count > 1) else {
            self.buckets[0].push(self.shelf.put(rows, held)?);
            return Ok(());
        };
        let texts = cast(rows.column(vehicle), &DataType::Utf8)?;
        let (order, ends) = by_bucket(texts.as_string::<i32>(), count);
        let mut from = 0;
        for (bucket, end) in self.buckets.iter_mut().zip(ends) {
            if end > from {
                // Copied rather than cut from one: whoever joins a bucket's rows counts all that they hold.
                let part = take_record_batch(&rows, &order.slice(from, end - from))?;
                let held = part.get_array_memory_size();
                bucket.push(self.shelf.put(part, held)?);
            }
            from = end;
        }
        Ok(())
    }
}

/// The rows in the order of their buckets and otherwise as they were, and where each bucket ends.
fn by_bucket(vins: &StringArray, count: usize) -> (UInt32Array, Vec<usize>) {
    let of: Vec<usize> = vins
        .iter()
        .map(|vin| vin.map_or(0, |vin| bucket_of(vin, count)))
        .collect();
    let mut ends = vec![0; count];
    for bucket in &of {
        ends[*bucket] += 1;
    }
    let mut next = Vec::with_capacity(count);
    let mut sum = 0;
    for end in &mut ends {
        next.push(sum);
        sum += *end;
        *end = sum;
    }
    let mut order = vec![0_u32; of.len()];
    for (row, bucket) in (0_u32..).zip(&of) {
        order[next[*bucket]] = row;
        next[*bucket] += 1;
    }
    (order.into(), ends)
}

/// The bucket of a vehicle (FNV-1a of its VIN): the same on every machine and in every run.
fn bucket_of(vin: &str, count: usize) -> usize {
    let hash = vin.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    // The high bits decide, and of short texts that differ in their last letters they hardly differ, so the
    // hash is stirred first (the finaliser of MurmurHash3, Appleby, public domain).
    let hash = (hash ^ (hash >> 33)).wrapping_mul(0xff51_afd7_ed55_8ccd);
    let hash = hash ^ (hash >> 33);
    ((u128::from(hash) * count as u128) >> 64) as usize
}

/// The rows with the types of a schema.
pub fn brought_to(schema: &SchemaRef, batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let columns = batch
        .columns()
        .iter()
        .zip(schema.fields())
        .map(
            |(column, field)| match column.data_type() == field.data_type() {
                true => Ok(Arc::clone(column)),
                false => cast(column, field.data_type()),
            },
        )
        .collect::<Result<Vec<_>, _>>()?;
    // A plan that only counts rows has no columns.
    let rows = RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    RecordBatch::try_new_with_options(Arc::clone(schema), columns, &rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A join counts a batch at all that its buffers hold, so a part cut from the whole would count as the whole.
    #[test]
    fn the_rows_of_a_bucket_hold_no_more_than_their_own() {
        let vins: StringArray = (0..1_000).map(|n| Some(format!("VIN{}", n % 50))).collect();
        let batch = RecordBatch::try_from_iter([("vin", Arc::new(vins) as _)]).expect("rows");
        let whole = batch.get_array_memory_size();
        let shelf = Arc::new(Shelf::new(usize::MAX));
        let mut sorter = Sorter::new(batch.schema(), Some((0, 8)), shelf);
        sorter.push(&batch).expect("rows");
        let table = sorter.finish().expect("a table");
        let held = |chunk: &Chunk| {
            let rows = chunk.read(&table.schema, None).expect("rows");
            rows.get_array_memory_size()
        };
        let held: Vec<usize> = table.buckets.iter().flatten().map(held).collect();
        assert_eq!(held.len(), 8);
        assert!(
            held.iter().sum::<usize>() < 2 * whole,
            "{held:?} of {whole}"
        );
    }

    #[test]
    fn rows_lie_by_bucket_and_keep_their_order_within() {
        let vins: StringArray = (0..1_000).map(|n| Some(format!("VIN{}", n % 50))).collect();
        let (order, ends) = by_bucket(&vins, 8);
        assert_eq!(ends.last(), Some(&1_000));
        let mut from = 0;
        for (bucket, end) in ends.into_iter().enumerate() {
            let rows: Vec<u32> = order.values()[from..end].to_vec();
            assert!(rows.is_sorted(), "{rows:?}");
            for row in rows {
                assert_eq!(bucket_of(vins.value(row as usize), 8), bucket);
            }
            from = end;
        }
        let filled: std::collections::BTreeSet<usize> =
            vins.iter().flatten().map(|vin| bucket_of(vin, 8)).collect();
        assert_eq!(filled.len(), 8);
    }
}
