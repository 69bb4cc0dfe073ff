//! Where the rows of a file go, good and bad.
//!
//! What a sink does with them is left to it: a load appends them to the lake, an explanation counts.

use std::sync::Arc;

use arrow::array::RecordBatch;

use lake::append::Origin;

/// Why a sink could not take something.
pub type SinkError = Box<dyn std::error::Error + Send + Sync>;

/// Rows of one table.
pub struct SourceRows {
    pub table: &'static str,
    /// In the table's intake schema.
    pub batch: RecordBatch,
    /// Where each row stands.
    pub origins: Vec<Origin>,
    /// Whether these rows count their lines: if not, rows of another table from the same lines do.
    pub counts_lines: bool,
}

/// Where the rows of a file go.
pub trait Sink {
    fn rows(&mut self, rows: SourceRows) -> Result<(), SinkError>;

    /// A line that is no row, or the note that one which was none came again mended.
    fn quarantine(&mut self, row: QuarantinedRow) -> Result<(), SinkError>;

    /// A table's rows have all been given: they stay, or, where the table turned out to be damaged, they
    /// and its quarantined lines are to be dropped. A sink that keeps nothing need not know.
    fn part_ended(&mut self, keep: bool) -> Result<(), SinkError> {
        let _ = keep;
        Ok(())
    }

    /// How many of the file's bytes have been taken.
    fn progress(&mut self, bytes_done: u64, bytes_total: u64);
}

/// A line that could not be used, as the lake's quarantine keeps it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuarantinedRow {
    pub file: String,
    pub line: u64,
    /// The line as it stood, cut at 2,000 characters.
    pub raw_text: String,
    pub field: Option<&'static str>,
    /// `class: detail`; the class is the same words for every such row.
    pub reason: String,
    pub dump_kind: &'static str,
    pub shop: Option<String>,
    pub file_hash: Arc<str>,
    /// Whether the rest of the row was taken and only the cell of that field was left out.
    pub row_loaded: bool,
    /// What stands above the row in a file by which it can be loaded again, where it can.
    pub header: Option<Arc<str>>,
    /// Whether it is the note that the row came again and could be used.
    pub mended: bool,
}
