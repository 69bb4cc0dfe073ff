//! Free text, such as a printed scan report, read by patterns the user writes.
//!
//! A mapping's `[report]` has `starts`, the pattern of a line that begins a scan or test, `lines`,
//! patterns whose named groups are found once in each, and `row`, the pattern of a line that is one
//! code. The names of the groups are the columns; lines that fit no pattern are passed over. A scan
//! without rows is one row. The values of a scan count for all its rows, wherever they stand in it.

use std::io;

use regex::Regex;

use super::record::{Record, Records, Step};
use crate::files::lines::{Line, Lines};

/// The patterns of one kind of report.
#[derive(Debug, Clone)]
pub struct ReportPattern {
    /// A line that begins another scan; without it the text is one.
    pub starts: Option<Regex>,
    pub lines: Vec<Regex>,
    pub row: Option<Regex>,
}

/// Rows of one scan that wait for its last line; a longer scan goes out in pieces.
const MOST_ROWS: usize = 10_000;

impl ReportPattern {
    fn patterns(&self) -> impl Iterator<Item = &Regex> {
        self.starts.iter().chain(&self.lines).chain(&self.row)
    }

    /// The names of all groups, each once.
    pub fn columns(&self) -> Vec<String> {
        let mut columns: Vec<String> = Vec::new();
        for name in self
            .patterns()
            .flat_map(|pattern| pattern.capture_names().flatten())
        {
            if columns.iter().all(|known| known != name) {
                columns.push(name.to_owned());
            }
        }
        columns
    }

    /// Whether a text's start looks like such a report: its first lines fit what begins one, or
    /// without that any of its patterns.
    pub fn fits(&self, mut head: Lines<'_>) -> bool {
        while let Ok(Some(line)) = head.next() {
            let fits = match &self.starts {
                Some(starts) => starts.is_match(&line.text),
                None => self.patterns().any(|pattern| pattern.is_match(&line.text)),
            };
            if fits {
                return true;
            }
        }
        false
    }
}

/// The scans of a report as records.
pub struct Report<'r> {
    lines: Lines<'r>,
    pattern: ReportPattern,
    columns: Vec<String>,
    scan: Scan,
    /// Rows of a scan that is complete, last first.
    ready: Vec<(u64, String, Vec<String>)>,
    ended: bool,
}

/// What was found of the scan being read.
#[derive(Default)]
struct Scan {
    first: Option<(u64, String)>,
    values: Vec<Option<String>>,
    rows: Vec<(u64, String, Vec<Option<String>>)>,
    /// Whether rows of it have gone out already.
    has_rows: bool,
}

impl<'r> Report<'r> {
    pub fn new(lines: Lines<'r>, pattern: &ReportPattern) -> Report<'r> {
        Report {
            lines,
            pattern: pattern.clone(),
            columns: pattern.columns(),
            scan: Scan::default(),
            ready: Vec::new(),
            ended: false,
        }
    }

    fn take(&mut self, line: &Line) {
        if self
            .pattern
            .starts
            .as_ref()
            .is_some_and(|starts| starts.is_match(&line.text))
        {
            self.close();
            self.scan.first = Some((line.number, line.text.clone()));
        }
        self.scan.values.resize(self.columns.len(), None);
        if let Some(row) = self.pattern.row.as_ref()
            && row.is_match(&line.text)
        {
            let mut values = vec![None; self.columns.len()];
            fill(&mut values, &self.columns, row, &line.text);
            self.scan
                .rows
                .push((line.number, line.text.clone(), values));
            if self.scan.rows.len() >= MOST_ROWS {
                self.give_rows();
            }
            return;
        }
        for pattern in self.pattern.starts.iter().chain(&self.pattern.lines) {
            if fill(&mut self.scan.values, &self.columns, pattern, &line.text)
                && self.scan.first.is_none()
            {
                self.scan.first = Some((line.number, line.text.clone()));
            }
        }
    }

    /// Ends the scan being read: its rows are ready, or the scan itself if it has none.
    fn close(&mut self) {
        if self.scan.rows.is_empty()
            && !self.scan.has_rows
            && let Some((line, text)) = self.scan.first.take()
        {
            self.scan
                .rows
                .push((line, text, vec![None; self.columns.len()]));
        }
        self.give_rows();
        self.scan = Scan::default();
    }

    fn give_rows(&mut self) {
        self.scan.has_rows |= !self.scan.rows.is_empty();
        for (line, text, values) in std::mem::take(&mut self.scan.rows) {
            let of_scan = self.scan.values.iter();
            let cells = values
                .into_iter()
                .zip(of_scan)
                .map(|(own, scan)| own.or_else(|| scan.clone()).unwrap_or_default());
            self.ready.push((line, text, cells.collect()));
        }
        self.ready.reverse();
    }
}

/// Puts what the groups caught in their columns; the first find stays. Whether the pattern fits.
fn fill(values: &mut [Option<String>], columns: &[String], pattern: &Regex, text: &str) -> bool {
    let Some(found) = pattern.captures(text) else {
        return false;
    };
    for (value, column) in values.iter_mut().zip(columns) {
        if value.is_none() {
            *value = found
                .name(column)
                .map(|group| group.as_str().trim().to_owned());
        }
    }
    true
}

impl Records for Report<'_> {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        loop {
            if let Some((line, text, cells)) = self.ready.pop() {
                record.start(line);
                record.raw.push_str(&text);
                for cell in cells {
                    record.push(&cell);
                }
                return Ok(Some(Step::Row));
            }
            if self.ended {
                return Ok(None);
            }
            match self.lines.next()? {
                Some(line) if line.fault.is_some() => {
                    record.start(line.number);
                    record.raw.push_str(&line.text);
                    return Ok(line.fault.map(Step::Bad));
                }
                Some(line) => self.take(&line),
                None => {
                    self.ended = true;
                    self.close();
                }
            }
        }
    }
}
