//! Where kept rows lie: in memory up to a bound, then in a scratch file.
//!
//! The file has no name, so nothing is left of it however a run ends. Rows that other machines are to read
//! lie in a file of a folder that all of them see. It fails when the disk does.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use arrow::array::{ArrayRef, AsArray, RecordBatch, RecordBatchOptions};
use arrow::datatypes::SchemaRef;
use arrow::error::ArrowError;

use super::columns;

/// What keeps the rows of all tables of a run.
#[derive(Debug)]
pub struct Shelf {
    /// Bytes that may still lie in memory.
    room: AtomicUsize,
    scratch: Mutex<Option<Scratch>>,
}

/// A file that grows at its end.
#[derive(Debug)]
enum Scratch {
    Unnamed {
        file: Arc<File>,
        end: u64,
    },
    /// Opened anew for each rows put there: who opens it later, on another machine, finds them all.
    Shared(Arc<Path>),
}

/// Some rows of a table.
#[derive(Debug, Clone)]
pub struct Chunk {
    pub rows: usize,
    /// What they hold in memory while any of them is there, in bytes.
    pub held: usize,
    place: Place,
}

#[derive(Debug, Clone)]
enum Place {
    Memory(RecordBatch),
    Scratch(Arc<File>, Lies),
    Shared(Arc<Path>, Lies),
}

/// Where in a file rows lie: from there, column behind column, each of so many bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lies {
    pub from: u64,
    pub columns: Arc<[usize]>,
}

impl Shelf {
    /// A shelf that holds so many bytes in memory.
    pub fn new(room: usize) -> Self {
        Self {
            room: AtomicUsize::new(room),
            scratch: Mutex::default(),
        }
    }

    /// A shelf that holds nothing in memory: all lies in a new file of this folder.
    pub fn shared(folder: &Path) -> std::io::Result<Self> {
        let file = tempfile::Builder::new()
            .suffix(".arrows")
            .tempfile_in(folder);
        let (_, path) = file
            .and_then(|file| Ok(file.keep()?))
            .map_err(|error| of_folder(folder, &error))?;
        Ok(Self {
            room: AtomicUsize::new(0),
            scratch: Mutex::new(Some(Scratch::Shared(path.into()))),
        })
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
                held,
                place: Place::Memory(batch),
            });
        }
        let (bytes, lengths) = columns::written(&compact(&batch)?)?;
        let place = self.append(&bytes, lengths)?;
        Ok(Chunk { rows, held, place })
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

    fn append(&self, bytes: &[u8], columns: Arc<[usize]>) -> std::io::Result<Place> {
        let mut scratch = self.scratch.lock().unwrap_or_else(PoisonError::into_inner);
        let scratch = match &mut *scratch {
            Some(scratch) => scratch,
            none => none.insert(Scratch::Unnamed {
                file: Arc::new(tempfile::tempfile()?),
                end: 0,
            }),
        };
        match scratch {
            Scratch::Unnamed { file, end } => {
                let from = *end;
                let mut writer = file.as_ref();
                writer.seek(SeekFrom::Start(from))?;
                writer.write_all(bytes)?;
                *end += bytes.len() as u64;
                Ok(Place::Scratch(Arc::clone(file), Lies { from, columns }))
            }
            Scratch::Shared(path) => {
                let mut file = File::options().append(true).open(&path)?;
                let from = file.seek(SeekFrom::End(0))?;
                file.write_all(bytes)?;
                Ok(Place::Shared(Arc::clone(path), Lies { from, columns }))
            }
        }
    }
}

impl Chunk {
    /// The rows, of these columns of the table or of all.
    pub fn read(
        &self,
        table: &SchemaRef,
        projection: Option<&[usize]>,
    ) -> Result<RecordBatch, ArrowError> {
        let (file, lies) = match &self.place {
            Place::Memory(batch) => {
                return match projection {
                    Some(columns) => batch.project(columns),
                    None => Ok(batch.clone()),
                };
            }
            Place::Scratch(file, lies) => (Arc::clone(file), lies),
            Place::Shared(path, lies) => {
                let file = File::open(path).map_err(|error| of_folder(path, &error))?;
                (Arc::new(file), lies)
            }
        };
        let mut ends = vec![lies.from];
        for length in lies.columns.iter() {
            ends.push(ends[ends.len() - 1] + *length as u64);
        }
        let all: Vec<usize> = (0..lies.columns.len()).collect();
        let read = projection.unwrap_or(&all);
        let columns = read.iter().map(|at| {
            let length = lies.columns.get(*at).copied().unwrap_or_default();
            columns::read(&file, ends[*at], length, &table.fields()[*at])
        });
        let columns = columns.collect::<Result<_, _>>()?;
        let rows = RecordBatchOptions::new().with_row_count(Some(self.rows));
        RecordBatch::try_new_with_options(Arc::new(table.project(read)?), columns, &rows)
    }

    /// So many rows, which hold so much, in the file of another's shelf.
    pub fn shared(rows: usize, held: usize, path: PathBuf, lies: Lies) -> Self {
        let place = Place::Shared(path.into(), lies);
        Self { rows, held, place }
    }

    /// The file that others read it from, and where in it; none where they cannot.
    pub fn lies_shared(&self) -> Option<(&Path, &Lies)> {
        match &self.place {
            Place::Shared(path, lies) => Some((path, lies)),
            Place::Memory(_) | Place::Scratch(..) => None,
        }
    }
}

/// What is wrong with a folder that all machines are to see.
fn of_folder(path: &Path, error: &std::io::Error) -> std::io::Error {
    let told = format!("{}: {error}", path.display());
    std::io::Error::new(error.kind(), told)
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
        let places = [&first, &second, &third].map(|chunk| chunk.place.clone());
        assert!(matches!(
            places,
            [Place::Memory(_), Place::Scratch(..), Place::Scratch(..)]
        ));
        let schema = batch.schema();
        let read = |chunk: &Chunk| chunk.read(&schema, None).expect("rows");
        assert_eq!(read(&first), batch);
        assert_eq!(read(&second), batch.slice(1, 1));
        assert_eq!(read(&third), batch);
        for chunk in [&first, &third] {
            let text = chunk.read(&schema, Some(&[1])).expect("rows");
            assert_eq!(text, batch.project(&[1]).expect("one column"));
            let counted = chunk.read(&schema, Some(&[])).expect("rows");
            assert_eq!((counted.num_rows(), counted.num_columns()), (2, 0));
        }
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
        let Place::Scratch(_, lies) = &chunk.place else {
            panic!("on the disk");
        };
        let bytes: usize = lies.columns.iter().sum();
        assert!(bytes < 5_000, "{bytes} bytes on the disk");
        let read = chunk.read(&all.schema(), None).expect("rows");
        assert_eq!(read, all.slice(500, 1));
    }
}
