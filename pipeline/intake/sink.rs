//! Where the rows of a file go, good and bad.
//!
//! What a sink does with them is left to it: a load appends them to the lake, an explanation counts.

use std::sync::Arc;

use arrow::array::RecordBatch;

/// Why a sink could not take something.
pub type SinkError = Box<dyn std::error::Error + Send + Sync>;

/// Where the rows of a file go.
pub trait Sink {
    /// Rows of one table in its intake schema. `lines` has the source line of each row, or is empty
    /// when the lines are counted by rows of another table.
    fn rows(
        &mut self,
        table: &'static str,
        batch: RecordBatch,
        lines: &[u64],
    ) -> Result<(), SinkError>;

    /// A line that is no row.
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
}
