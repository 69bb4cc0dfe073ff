//! Where kept rows lie: in memory up to a bound, then in a scratch file.
//!
//! The file has no name, so nothing is left of it however a run ends. It fails when the disk does.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use arrow::array::{ArrayRef, AsArray, RecordBatch, RecordBatchOptions};
use arrow::buffer::{Buffer, MutableBuffer};
use arrow::datatypes::SchemaRef;
use arrow::error::ArrowError;
use arrow::ipc::reader::StreamDecoder;
use arrow::ipc::writer::StreamWriter;

/// What keeps the rows of all tables of a run.
#[derive(Debug)]
pub struct Shelf {
    /// Bytes that may still lie in memory.
    room: AtomicUsize,
    scratch: Mutex<Option<Scratch>>,
}

/// A file that grows at its end.
#[derive(Debug)]
struct Scratch {
    file: Arc<File>,
    end: u64,
}

/// Some rows of a table.
#[derive(Debug, Clone)]
pub struct Chunk {
    pub rows: usize,
    pub bytes: usize,
    place: Place,
}

#[derive(Debug, Clone)]
enum Place {
    Memory(RecordBatch),
    /// A stream of the Arrow format in the file.
    Scratch {
        file: Arc<File>,
        from: u64,
    },
}

impl Shelf {
    /// A shelf that holds so many bytes in memory.
    pub fn new(room: usize) -> Self {
        Self {
            room: AtomicUsize::new(room),
            scratch: Mutex::default(),
        }
    }

    /// Keeps rows. `held` are the bytes they hold in memory while any of them is there.
    pub fn put(&self, batch: RecordBatch, held: usize) -> Result<Chunk, ArrowError> {
        let rows = batch.num_rows();
        let taken = self
            .room
            .fetch_update(Ordering::Relaxed, Ordering::Relaxed, |room| {
                room.checked_sub(held)
            });
        if taken.is_ok() {
            return Ok(Chunk {
                rows,
                bytes: held,
                place: Place::Memory(batch),
            });
        }
        let mut stream = StreamWriter::try_new(Vec::new(), &batch.schema())?;
        stream.write(&compact(&batch)?)?;
        let bytes = stream.into_inner()?;
        let (file, from) = self.append(&bytes)?;
        Ok(Chunk {
            rows,
            bytes: bytes.len(),
            place: Place::Scratch { file, from },
        })
    }

    /// Keeps all of these rows together, nothing where there are none.
    pub fn put_all(
        &self,
        schema: &SchemaRef,
        batches: &[RecordBatch],
    ) -> Result<Vec<Chunk>, ArrowError> {
        if batches.iter().all(|batch| batch.num_rows() == 0) {
            return Ok(Vec::new());
        }
        let (batch, held) = joined(schema, batches)?;
        Ok(vec![self.put(batch, held)?])
    }

    fn append(&self, bytes: &[u8]) -> std::io::Result<(Arc<File>, u64)> {
        let mut scratch = self.scratch.lock().unwrap_or_else(PoisonError::into_inner);
        let scratch = match &mut *scratch {
            Some(scratch) => scratch,
            none => none.insert(Scratch {
                file: Arc::new(tempfile::tempfile()?),
                end: 0,
            }),
        };
        let from = scratch.end;
        let mut file = scratch.file.as_ref();
        file.seek(SeekFrom::Start(from))?;
        file.write_all(bytes)?;
        scratch.end += bytes.len() as u64;
        Ok((Arc::clone(&scratch.file), from))
    }
}

impl Chunk {
    /// The rows.
    pub fn read(&self) -> Result<RecordBatch, ArrowError> {
        let (file, from) = match &self.place {
            Place::Memory(batch) => return Ok(batch.clone()),
            Place::Scratch { file, from } => (file, *from),
        };
        let mut bytes = MutableBuffer::from_len_zeroed(self.bytes);
        read_at(file, bytes.as_slice_mut(), from)?;
        let mut rest = Buffer::from(bytes);
        let mut decoder = StreamDecoder::new();
        let batch = decoder.decode(&mut rest)?;
        batch.ok_or_else(|| ArrowError::IpcError("kept rows ended early".to_owned()))
    }

    /// Whether the rows lie on the disk.
    pub fn is_on_disk(&self) -> bool {
        matches!(self.place, Place::Scratch { .. })
    }
}

#[cfg(unix)]
fn read_at(file: &File, bytes: &mut [u8], from: u64) -> std::io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, bytes, from)
}

#[cfg(windows)]
fn read_at(file: &File, mut bytes: &mut [u8], mut from: u64) -> std::io::Result<()> {
    while !bytes.is_empty() {
        let read = std::os::windows::fs::FileExt::seek_read(file, bytes, from)?;
        if read == 0 {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        bytes = &mut bytes[read..];
        from += read as u64;
    }
    Ok(())
}

/// Rows put together, with the bytes they hold.
pub fn joined(
    schema: &SchemaRef,
    batches: &[RecordBatch],
) -> Result<(RecordBatch, usize), ArrowError> {
    let batch = compact(&match batches {
        [one] => one.clone(),
        some => arrow::compute::concat_batches(schema, some)?,
    })?;
    let held = batch.get_array_memory_size();
    Ok((batch, held))
}

/// The rows without the texts of others. A column of views holds, and is written with, all texts of the rows
/// that it was once taken from, and once for each time that it was.
fn compact(batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let columns = batch
        .columns()
        .iter()
        .map(|column| match column.as_string_view_opt() {
            Some(texts) => Arc::new(texts.gc()) as ArrayRef,
            None => Arc::clone(column),
        });
    let rows = RecordBatchOptions::new().with_row_count(Some(batch.num_rows()));
    RecordBatch::try_new_with_options(batch.schema(), columns.collect(), &rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::array::{Int64Array, StringArray, StringViewArray};

    #[test]
    fn rows_beyond_the_room_are_read_from_the_disk_as_they_were() {
        let batch = RecordBatch::try_from_iter([
            ("n", Arc::new(Int64Array::from(vec![Some(1), None])) as _),
            ("t", Arc::new(StringArray::from(vec!["a", "bc"])) as _),
        ])
        .expect("rows");
        let held = batch.get_array_memory_size();
        let shelf = Shelf::new(held);
        let first = shelf.put(batch.clone(), held).expect("put");
        let second = shelf.put(batch.slice(1, 1), held).expect("put");
        let third = shelf.put(batch.clone(), held).expect("put");
        assert!(!first.is_on_disk() && second.is_on_disk() && third.is_on_disk());
        assert_eq!(first.read().expect("read"), batch);
        assert_eq!(second.read().expect("read"), batch.slice(1, 1));
        assert_eq!(third.read().expect("read"), batch);
    }

    #[test]
    fn rows_take_no_more_than_their_own_texts() {
        let texts: StringViewArray = (0..1_000).map(|n| Some(format!("{n:0>1000}"))).collect();
        let all = RecordBatch::try_from_iter([("t", Arc::new(texts) as ArrayRef)]).expect("rows");
        // Ten of its rows, each taken apart from the others as a join does.
        let few: Vec<RecordBatch> = (0..10).map(|row| all.slice(row * 100, 1)).collect();
        let (rows, held) = joined(&all.schema(), &few).expect("joined");
        assert!(held < 20_000, "{held} bytes in memory");
        assert_eq!(
            rows.column(0).as_string_view().value(3),
            format!("{:0>1000}", 300)
        );
        let chunk = Shelf::new(0).put(all.slice(500, 1), 1).expect("put");
        assert!(chunk.is_on_disk());
        assert!(chunk.bytes < 5_000, "{} bytes on the disk", chunk.bytes);
        assert_eq!(chunk.read().expect("read"), all.slice(500, 1));
    }
}
