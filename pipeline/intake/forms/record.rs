//! One line of a dump as cells of text, whatever the form of the file.
//!
//! Every form of file (delimited text, workbook, JSON lines, Parquet, decoded messages) comes down
//! to records, so that all fields are read in one way.

use std::io;

use crate::fault::Fault;

/// A source of records. Fails only when the file can no longer be read.
pub trait Records {
    /// Reads the next record into `record`; `None` at the end.
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>>;
}

/// What a source found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    Row,
    /// Something that is no row: only the record's line and raw text hold.
    Bad(Fault),
    /// The text ends within this line, as where a file is still being written.
    Unfinished,
}

/// What parts the cells of a record that stood in no text, where they are shown as a line.
pub const CELLS_OF_NO_TEXT: &str = " | ";

/// Cells in one buffer, reused from line to line.
#[derive(Debug, Default)]
pub struct Record {
    /// The line it starts on, counted from 1.
    pub line: u64,
    /// The text as it stood.
    pub raw: String,
    text: String,
    ends: Vec<usize>,
    /// Whether text follows a closing quote before the delimiter.
    pub loose_quote: bool,
}

impl Record {
    /// Empties the record for a line of that number.
    pub fn start(&mut self, line: u64) {
        self.line = line;
        self.raw.clear();
        self.text.clear();
        self.ends.clear();
        self.loose_quote = false;
    }

    /// Adds a cell.
    pub fn push(&mut self, cell: &str) {
        self.text.push_str(cell);
        self.ends.push(self.text.len());
    }

    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// The cell at `index`; empty beyond the last.
    pub fn cell(&self, index: usize) -> &str {
        let Some(end) = self.ends.get(index) else {
            return "";
        };
        let start = index.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.text[start..*end]
    }

    pub fn cells(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).map(|index| self.cell(index))
    }

    /// Whether no cell holds anything.
    pub fn is_blank(&self) -> bool {
        self.text.trim().is_empty()
    }

    /// Parts a line at the delimiter. Returns whether its last cell is quoted and still open.
    pub fn split(&mut self, line: &str, delimiter: u8) -> bool {
        self.split_from(line, delimiter, false)
    }

    /// Goes on with the quoted cell that the last line left open. Returns whether it still is.
    pub fn continue_quoted(&mut self, line: &str, delimiter: u8) -> bool {
        self.text.push('\n');
        self.split_from(line, delimiter, true)
    }

    fn split_from(&mut self, line: &str, delimiter: u8, mut in_quotes: bool) -> bool {
        let bytes = line.as_bytes();
        let mut at = 0;
        loop {
            if !in_quotes && bytes.get(at) == Some(&b'"') {
                in_quotes = true;
                at += 1;
            }
            if in_quotes {
                match self.quoted_part(line, at) {
                    Some(after) => at = after,
                    None => return true,
                }
            }
            // What stands outside quotes up to the delimiter; a quote here is an ordinary letter.
            let length = bytes[at..].iter().position(|byte| *byte == delimiter);
            let end = length.map_or(bytes.len(), |length| at + length);
            self.loose_quote |= in_quotes && end > at;
            self.push(&line[at..end]);
            if length.is_none() {
                return false;
            }
            in_quotes = false;
            at = end + 1;
        }
    }

    /// Adds the text up to the closing quote and returns the place after it; `None` if there is none.
    fn quoted_part(&mut self, line: &str, mut at: usize) -> Option<usize> {
        loop {
            let Some(length) = line[at..].find('"') else {
                self.text.push_str(&line[at..]);
                return None;
            };
            self.text.push_str(&line[at..at + length]);
            at += length + 1;
            if line.as_bytes().get(at) != Some(&b'"') {
                return Some(at);
            }
            self.text.push('"');
            at += 1;
        }
    }
}
