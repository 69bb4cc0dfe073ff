//! Parquet and Arrow IPC files as records.
//!
//! Each value becomes the text it would have in a CSV file, so all forms are read in one way. A row's
//! line is its number, counted from 1. Read batch by batch.

use std::fs::File;
use std::io::{self, BufReader};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatchReader};
use arrow::datatypes::{
    ArrowTimestampType, DataType, SchemaRef, TimeUnit, TimestampMicrosecondType,
    TimestampMillisecondType, TimestampNanosecondType, TimestampSecondType,
};
use arrow::error::ArrowError;
use arrow::ipc::reader::{FileReader, StreamReader};
use arrow::util::display::{ArrayFormatter, FormatOptions};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use super::record::{CELLS_OF_NO_TEXT, Record, Records, Step};
use super::workbook::number_text;
use crate::error::IntakeError;
use crate::fault::Fault;
use settings::Limits;
use settings::limits::{bytes_of_mb, count};

/// The forms that columns are stored in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnForm {
    Parquet,
    ArrowFile,
    ArrowStream,
}

/// The form of a file that starts with these bytes.
pub fn column_form(head: &[u8]) -> Option<ColumnForm> {
    match head {
        [b'P', b'A', b'R', b'1', ..] => Some(ColumnForm::Parquet),
        [b'A', b'R', b'R', b'O', b'W', b'1', 0, 0, ..] => Some(ColumnForm::ArrowFile),
        // The mark that every message of a stream starts with.
        [0xFF, 0xFF, 0xFF, 0xFF, length, _, _, 0, ..] if *length > 0 => {
            Some(ColumnForm::ArrowStream)
        }
        _ => None,
    }
}

/// A file of columns, opened.
pub struct Columns {
    batches: Box<dyn RecordBatchReader>,
    schema: SchemaRef,
    /// Bytes that the texts of a row may take.
    longest_row: usize,
}

/// Rows that are unpacked at a time: few, since one repeated value of many bytes takes next to nothing
/// in the file and all its bytes in every row of a batch.
const BATCH_ROWS: usize = 64;

/// Opens a file of columns.
pub fn open(
    name: &str,
    form: ColumnForm,
    file: File,
    limits: &Limits,
) -> Result<Columns, IntakeError> {
    let mut past = None;
    let opened = guarded(|| -> Result<Box<dyn RecordBatchReader>, ArrowError> {
        Ok(match form {
            ColumnForm::Parquet => {
                let parquet = ParquetRecordBatchReaderBuilder::try_new(file)?;
                let groups = parquet.metadata().row_groups().iter();
                let largest = groups
                    .map(|group| group.columns().iter().map(|c| c.uncompressed_size().max(0)))
                    .map(|sizes| sizes.fold(0_i64, i64::saturating_add))
                    .max();
                let most = bytes_of_mb(limits.row_group_mb);
                past = largest.filter(|bytes| u64::try_from(*bytes).is_ok_and(|b| b > most));
                Box::new(parquet.with_batch_size(BATCH_ROWS).build()?)
            }
            ColumnForm::ArrowFile => Box::new(FileReader::try_new(BufReader::new(file), None)?),
            ColumnForm::ArrowStream => Box::new(StreamReader::try_new(BufReader::new(file), None)?),
        })
    });
    if let Some(bytes) = past {
        return Err(IntakeError::PastLimit {
            file: name.to_owned(),
            what: format!("has a group of rows that unpacks to {} MiB", bytes >> 20),
            setting: "limits.row_group_mb",
        });
    }
    match opened {
        Ok(batches) => Ok(Columns {
            schema: batches.schema(),
            batches,
            longest_row: usize::try_from(count(limits.line_kb) << 10).unwrap_or(usize::MAX),
        }),
        Err(error) => Err(IntakeError::Damaged {
            file: name.to_owned(),
            evidence: error.to_string(),
        }),
    }
}

/// The readers are another's; should one panic on a damaged file, this is one damaged file.
fn guarded<T>(read: impl FnOnce() -> Result<T, ArrowError>) -> Result<T, ArrowError> {
    let read = catch_unwind(AssertUnwindSafe(read));
    read.unwrap_or_else(|_| {
        Err(ArrowError::ParseError(
            "it cannot be taken apart".to_owned(),
        ))
    })
}

impl Columns {
    pub fn header(&self) -> Vec<String> {
        self.schema
            .fields()
            .iter()
            .map(|field| field.name().clone())
            .collect()
    }

    pub fn records(self, decimal: char) -> ColumnRecords {
        ColumnRecords {
            columns: self,
            batch: None,
            row: 0,
            line: 0,
            decimal,
        }
    }
}

/// The rows of a file of columns.
pub struct ColumnRecords {
    columns: Columns,
    /// The batch at hand, instants in UTC, with its number of rows.
    batch: Option<(Vec<ArrayRef>, usize)>,
    /// The next row of the batch.
    row: usize,
    line: u64,
    decimal: char,
}

impl ColumnRecords {
    fn fill(&self, columns: &[ArrayRef], record: &mut Record) -> Result<Step, ArrowError> {
        let options = FormatOptions::default().with_null("");
        let mut length = 0_usize;
        for column in columns {
            let text = if column.is_null(self.row) {
                String::new()
            } else {
                ArrayFormatter::try_new(column.as_ref(), &options)?
                    .value(self.row)
                    .try_to_string()?
            };
            length = length.saturating_add(text.len());
            if length > self.columns.longest_row {
                record.start(self.line);
                let most = self.columns.longest_row;
                return Ok(Step::Bad(Fault::line(
                    "the line is too long",
                    format!("at most {most} bytes are read (limits.line_kb)"),
                )));
            }
            match column.data_type() {
                DataType::Float64
                | DataType::Float32
                | DataType::Float16
                | DataType::Decimal128(..) => {
                    record.push(&number_text(&text, self.decimal));
                }
                _ => record.push(&text),
            }
        }
        record.raw = record.cells().collect::<Vec<_>>().join(CELLS_OF_NO_TEXT);
        Ok(Step::Row)
    }
}

impl Records for ColumnRecords {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        let invalid =
            |error: ArrowError| io::Error::new(io::ErrorKind::InvalidData, error.to_string());
        loop {
            let row = self.row;
            if let Some((columns, rows)) = self.batch.take_if(|(_, rows)| row < *rows) {
                self.line += 1;
                record.start(self.line);
                let step = self.fill(&columns, record).map_err(invalid)?;
                self.row += 1;
                self.batch = Some((columns, rows));
                return Ok(Some(step));
            }
            match guarded(|| self.columns.batches.next().transpose()).map_err(invalid)? {
                Some(batch) => {
                    let columns = batch.columns().iter().map(in_utc).collect();
                    self.batch = Some((columns, batch.num_rows()));
                    self.row = 0;
                }
                None => return Ok(None),
            }
        }
    }
}

/// An instant is stored in UTC whatever its zone, and is written so.
fn in_utc(column: &ArrayRef) -> ArrayRef {
    fn utc<T: ArrowTimestampType>(column: &ArrayRef) -> ArrayRef {
        Arc::new(column.as_primitive::<T>().clone().with_timezone("+00:00"))
    }
    match column.data_type() {
        DataType::Timestamp(TimeUnit::Second, Some(_)) => utc::<TimestampSecondType>(column),
        DataType::Timestamp(TimeUnit::Millisecond, Some(_)) => {
            utc::<TimestampMillisecondType>(column)
        }
        DataType::Timestamp(TimeUnit::Microsecond, Some(_)) => {
            utc::<TimestampMicrosecondType>(column)
        }
        DataType::Timestamp(TimeUnit::Nanosecond, Some(_)) => {
            utc::<TimestampNanosecondType>(column)
        }
        _ => Arc::clone(column),
    }
}
