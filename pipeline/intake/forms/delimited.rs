//! Delimited text to records (RFC 4180, with any ASCII delimiter).
//!
//! A quoted cell may hold delimiters, doubled quotes and line ends. A quote that is never closed
//! costs one line, not the rest of the file: when the record it opens grows past
//! [`MOST_LINES`] lines, closes in the midst of a word or does not come out as wide as the header, the
//! first line alone is at fault and reading goes on at the next.
//!
//! A last line that has no end and fewer cells than the header is unfinished. One that has all its cells
//! is a row, end or no end; should its last cell still grow, the row comes again with the whole of it.

use std::collections::VecDeque;
use std::io;

use super::record::{Record, Records, Step};
use crate::fault::{Fault, quoted};
use crate::files::lines::{Line, Lines};

/// Lines that one record may span.
pub const MOST_LINES: usize = 100;

/// The delimiters that are looked for when none is named.
const USUAL_DELIMITERS: &[u8] = b",;\t|";

/// Records of a delimited text.
pub struct Delimited<'r> {
    lines: Lines<'r>,
    /// Lines that were read ahead and given back.
    given_back: VecDeque<Line>,
    delimiter: u8,
    header: Vec<String>,
}

impl<'r> Delimited<'r> {
    /// Passes over `skip_lines` and reads the header. A text without one has an empty header.
    pub fn new(lines: Lines<'r>, delimiter: u8, skip_lines: usize) -> io::Result<Delimited<'r>> {
        let mut text = Delimited {
            lines,
            given_back: VecDeque::new(),
            delimiter,
            header: Vec::new(),
        };
        for _ in 0..skip_lines {
            text.lines.next()?;
        }
        let mut record = Record::default();
        if text.next(&mut record)?.is_some() {
            text.header = record.cells().map(|cell| cell.trim().to_owned()).collect();
        }
        Ok(text)
    }

    pub fn header(&self) -> &[String] {
        &self.header
    }

    fn next_line(&mut self) -> io::Result<Option<Line>> {
        match self.given_back.pop_front() {
            Some(line) => Ok(Some(line)),
            None => self.lines.next(),
        }
    }

    /// Reads on through the lines of a record whose quote is open, or gives them back.
    fn next_lines(&mut self, first: Line, record: &mut Record) -> io::Result<Step> {
        let mut further = Vec::new();
        let mut length = first.text.len();
        let mut open = true;
        while open && further.len() + 1 < MOST_LINES && length < self.lines.longest() {
            match self.next_line()? {
                Some(line) if line.fault.is_none() => {
                    record.raw.push('\n');
                    record.raw.push_str(&line.text);
                    length += line.text.len();
                    open = record.continue_quoted(&line.text, self.delimiter);
                    further.push(line);
                }
                Some(line) => {
                    further.push(line);
                    break;
                }
                None => break,
            }
        }
        let width = self.header.len();
        if !open && !record.loose_quote && (width == 0 || record.len() == width) {
            return Ok(Step::Row);
        }
        for line in further.into_iter().rev() {
            self.given_back.push_front(line);
        }
        record.raw = first.text;
        Ok(Step::Bad(Fault::line(
            "a quote is opened and not closed",
            "double the quote if it belongs to the text",
        )))
    }
}

impl Records for Delimited<'_> {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        loop {
            let Some(line) = self.next_line()? else {
                return Ok(None);
            };
            record.start(line.number);
            record.raw.push_str(&line.text);
            if let Some(fault) = line.fault {
                return Ok(Some(Step::Bad(fault)));
            }
            let open = record.split(&line.text, self.delimiter);
            let is_narrow = open || record.len() < self.header.len();
            if !line.ended && is_narrow && !self.header.is_empty() && !record.is_blank() {
                return Ok(Some(Step::Unfinished));
            }
            if open {
                return self.next_lines(line, record).map(Some);
            }
            if !record.is_blank() {
                return Ok(Some(Step::Row));
            }
        }
    }
}

/// The delimiter that parts `line` into most cells, a comma if none does.
pub fn find_delimiter(line: &str) -> u8 {
    let mut record = Record::default();
    let mut cells = |delimiter: u8| {
        record.start(1);
        record.split(line, delimiter);
        record.len()
    };
    let counts: Vec<(usize, u8)> = USUAL_DELIMITERS
        .iter()
        .map(|delimiter| (cells(*delimiter), *delimiter))
        .collect();
    let most = counts.iter().map(|(count, _)| *count).max().unwrap_or(0);
    counts
        .iter()
        .find(|(count, _)| *count == most)
        .map_or(b',', |(_, delimiter)| *delimiter)
}

/// A row that is as wide as the header, or what is wrong with it. Empty cells beyond it are let go.
pub fn check_width(record: &Record, width: usize) -> Result<(), Fault> {
    if record.len() == width
        || (record.len() > width
            && record
                .cells()
                .skip(width)
                .all(|cell| cell.trim().is_empty()))
    {
        return Ok(());
    }
    let class = if record.len() < width {
        "fewer columns than the header"
    } else {
        "more columns than the header"
    };
    let hint = if record.len() > width {
        "; quote text that holds the delimiter".to_owned()
    } else if record.len() == 1 {
        format!(" in {}", quoted(record.cell(0)))
    } else {
        "; the line may have been cut".to_owned()
    };
    Err(Fault::line(
        class,
        format!("{} of {width}{hint}", record.len()),
    ))
}
