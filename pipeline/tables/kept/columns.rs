//! The rows of a column as bytes: a message of the Arrow format that says where its parts are, behind it those.
//!
//! Each column is read by itself, so a question of a few columns does not read the others. The columns' types
//! are the table's and are not written.

use std::collections::HashMap;
use std::fs::File;
use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch};
use arrow::buffer::Buffer;
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use arrow::error::ArrowError;
use arrow::ipc::reader::read_record_batch;
use arrow::ipc::root_as_message;
use arrow::ipc::writer::{DictionaryTracker, IpcDataGenerator, IpcWriteContext, IpcWriteOptions};

/// To which Arrow aligns what it writes.
const ALIGNMENT: usize = 64;

/// What the length of the message takes before it.
const LENGTH_BYTES: usize = size_of::<u64>();

/// The columns one behind the other, and how many bytes each takes.
pub fn written(batch: &RecordBatch) -> Result<(Vec<u8>, Arc<[usize]>), ArrowError> {
    let generator = IpcDataGenerator::default();
    let (options, mut context) = (IpcWriteOptions::default(), IpcWriteContext::default());
    let (mut bytes, mut lengths) = (Vec::new(), Vec::with_capacity(batch.num_columns()));
    for (field, column) in batch.schema_ref().fields().iter().zip(batch.columns()) {
        let alone = RecordBatch::try_new(alone(field), vec![cast(column, plain(field))?])?;
        let mut known = DictionaryTracker::new(false);
        let (words, rows) = generator.encode(&alone, &mut known, &options, &mut context)?;
        if !words.is_empty() {
            let kind = format!("column {} of type {}", field.name(), field.data_type());
            return Err(ArrowError::NotYetImplemented(kind));
        }
        let from = bytes.len();
        bytes.extend((rows.ipc_message.len() as u64).to_le_bytes());
        bytes.extend(rows.ipc_message);
        bytes.resize(from + (bytes.len() - from).next_multiple_of(ALIGNMENT), 0);
        bytes.extend(rows.arrow_data);
        lengths.push(bytes.len() - from);
    }
    Ok((bytes, lengths.into()))
}

/// The column that lies in the file: from there, so many bytes.
pub fn read(file: &File, from: u64, length: usize, field: &Field) -> Result<ArrayRef, ArrowError> {
    let bytes = Buffer::from_vec(read_at(file, from, length)?);
    let broken = || ArrowError::IpcError("kept rows ended early".to_owned());
    let (head, rest) = bytes.split_first_chunk().ok_or_else(broken)?;
    let message = usize::try_from(u64::from_le_bytes(*head)).ok();
    let message = message.and_then(|length| rest.get(..length));
    let message = message.ok_or_else(broken)?;
    let body = (LENGTH_BYTES + message.len()).next_multiple_of(ALIGNMENT);
    let message = root_as_message(message).map_err(|_| broken())?;
    let rows = message.header_as_record_batch().ok_or_else(broken)?;
    let (version, none) = (message.version(), HashMap::new());
    let body = bytes.slice(body.min(bytes.len()));
    let batch = read_record_batch(&body, rows, alone(field), &none, None, &version)?;
    cast(batch.column(0), field.data_type())
}

/// The schema of a column by itself.
fn alone(field: &Field) -> SchemaRef {
    let field = field.clone().with_data_type(plain(field).clone());
    Arc::new(Schema::new(vec![field]))
}

/// The type it is written with: words of a dictionary each by itself.
fn plain(field: &Field) -> &DataType {
    match field.data_type() {
        DataType::Dictionary(_, words) => words,
        other => other,
    }
}

/// Memory that is read into is not set to nought first.
#[cfg(unix)]
fn read_at(file: &File, from: u64, length: usize) -> std::io::Result<Vec<u8>> {
    use rustix::buffer::spare_capacity;
    let mut bytes: Vec<u8> = Vec::with_capacity(length);
    while bytes.len() < length {
        let at = from + bytes.len() as u64;
        match rustix::io::pread(file, spare_capacity(&mut bytes), at) {
            Ok(0) => return Err(std::io::ErrorKind::UnexpectedEof.into()),
            Ok(_) | Err(rustix::io::Errno::INTR) => {}
            Err(error) => return Err(error.into()),
        }
    }
    bytes.truncate(length);
    Ok(bytes)
}

#[cfg(windows)]
fn read_at(file: &File, from: u64, length: usize) -> std::io::Result<Vec<u8>> {
    let mut bytes = vec![0; length];
    let mut done = 0;
    while done < length {
        let at = from + done as u64;
        match std::os::windows::fs::FileExt::seek_read(file, &mut bytes[done..], at)? {
            0 => return Err(std::io::ErrorKind::UnexpectedEof.into()),
            read => done += read,
        }
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::array::{
        DictionaryArray, Int64Array, ListArray, NullArray, StringArray, StringViewArray,
        StructArray,
    };
    use arrow::datatypes::{Int32Type, Int64Type};
    use std::io::Write;

    #[test]
    fn every_type_of_column_is_read_as_it_was_written() {
        let numbers = Int64Array::from(vec![Some(1), None, Some(3)]);
        let texts = StringArray::from(vec![Some("a"), Some(""), None]);
        let lists = ListArray::from_iter_primitive::<Int64Type, _, _>([
            Some(vec![Some(1), None]),
            None,
            Some(vec![]),
        ]);
        let words: DictionaryArray<Int32Type> = ["x", "y", "x"].into_iter().collect();
        let both = StructArray::from(vec![(
            Arc::new(Field::new("n", DataType::Int64, true)),
            Arc::new(numbers.clone()) as ArrayRef,
        )]);
        let columns: [(&str, ArrayRef); 7] = [
            ("numbers", Arc::new(numbers)),
            ("texts", Arc::new(texts)),
            (
                "views",
                Arc::new(StringViewArray::from(vec!["a", "b", "c"])),
            ),
            ("lists", Arc::new(lists)),
            ("words", Arc::new(words)),
            ("both", Arc::new(both)),
            ("nothing", Arc::new(NullArray::new(3))),
        ];
        let batch = RecordBatch::try_from_iter_with_nullable(
            columns.map(|(name, column)| (name, column, true)),
        );
        let batch = batch.expect("rows");
        for batch in [batch.clone(), batch.slice(1, 2)] {
            let (bytes, lengths) = written(&batch).expect("bytes");
            let mut file = tempfile::tempfile().expect("a file");
            file.write_all(b"what lay there").expect("written");
            file.write_all(&bytes).expect("written");
            let mut from = 14;
            let fields = batch.schema();
            for ((field, column), length) in
                fields.fields().iter().zip(batch.columns()).zip(&*lengths)
            {
                let found = read(&file, from, *length, field).expect("a column");
                assert_eq!(&found, column, "{}", field.name());
                from += *length as u64;
            }
        }
    }

    #[test]
    fn a_file_cut_short_is_an_error() {
        let batch =
            RecordBatch::try_from_iter([("n", Arc::new(Int64Array::from(vec![1, 2])) as ArrayRef)]);
        let batch = batch.expect("rows");
        let (bytes, lengths) = written(&batch).expect("bytes");
        for end in 0..bytes.len() {
            let mut file = tempfile::tempfile().expect("a file");
            file.write_all(&bytes[..end]).expect("written");
            assert!(read(&file, 0, lengths[0], batch.schema().field(0)).is_err());
        }
    }
}
