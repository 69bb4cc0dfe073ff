//! Where good rows go: from one header's values to the sink, batch by batch.
//!
//! Each line is counted by one table. A line of a scan with a code is counted by the code; its scan
//! goes out once, uncounted. A line of a scan without codes is counted by the scan.

use std::collections::hash_map::Entry;
use std::collections::{HashMap, VecDeque};
use std::hash::{DefaultHasher, Hash, Hasher};

use super::plausible::shown;
use super::table_rows::TableRows;
use crate::error::IntakeError;
use crate::fault::Fault;
use crate::fields::cell::Value;
use crate::fields::dump::DumpKind;
use crate::mapping::header_layout::HeaderLayout;
use crate::sink::{Sink, SinkError};
use lake::append::Origin;

/// Scans that are remembered at once. An export lists a scan's codes together, so a scan is seldom
/// met again after so many others; if it is, its row goes out twice and the lake knows it again.
const SCANS_REMEMBERED: usize = 1 << 16;

/// Batches the rows under one header.
pub struct RowBatches {
    /// Rows that count their lines: the kind's own table, or codes.
    main: TableRows,
    scans: Option<Scans>,
}

/// What a line of a scan needs besides its code.
struct Scans {
    /// Scans whose lines are counted by their codes.
    with_codes: TableRows,
    /// Scans without codes, which count their own line.
    without_codes: TableRows,
    code_place: Option<usize>,
    /// Places of the columns by which a scan is known, then of all its columns.
    key: Vec<usize>,
    columns: Vec<usize>,
    seen: HashMap<u64, (u64, u64)>,
    order: VecDeque<u64>,
}

impl RowBatches {
    pub fn new(layout: &HeaderLayout) -> Option<RowBatches> {
        let tables = layout.kind().tables();
        let main = TableRows::new(tables.last()?, layout, true);
        let scans = (layout.kind() == DumpKind::CodeScan)
            .then(|| tables.first())
            .flatten()
            .map(|table| Scans {
                with_codes: TableRows::new(table, layout, false),
                without_codes: TableRows::new(table, layout, true),
                code_place: layout.place("code"),
                key: ["scan_id", "vin", "scanned_at"]
                    .iter()
                    .filter_map(|name| layout.place(name))
                    .collect(),
                columns: table
                    .columns
                    .iter()
                    .filter_map(|column| layout.place(column.name))
                    .collect(),
                seen: HashMap::new(),
                order: VecDeque::new(),
            });
        Some(RowBatches { main, scans })
    }

    /// Takes a row. The fault is that of a line which contradicts an earlier one of its scan.
    pub fn push(&mut self, values: &[Value<'_>], origin: &Origin) -> Result<(), Fault> {
        let Some(scans) = &mut self.scans else {
            self.main.push(values, origin);
            return Ok(());
        };
        if scans
            .code_place
            .is_none_or(|place| values[place].is_missing())
        {
            scans.without_codes.push(values, origin);
            return Ok(());
        }
        if scans.is_new(values, origin.line)? {
            scans.with_codes.push(values, origin);
        }
        self.main.push(values, origin);
        Ok(())
    }

    /// Passes full batches on, or all that waits.
    pub fn pass_on(
        &mut self,
        file: &str,
        all: bool,
        sink: &mut dyn Sink,
    ) -> Result<(), IntakeError> {
        let scans = self
            .scans
            .iter_mut()
            .flat_map(|scans| [&mut scans.with_codes, &mut scans.without_codes]);
        for rows in scans.chain([&mut self.main]) {
            if all || rows.is_full() {
                let passed = pass(rows, sink);
                passed.map_err(|source| IntakeError::Sink {
                    file: file.to_owned(),
                    source,
                })?;
            }
        }
        Ok(())
    }
}

fn pass(rows: &mut TableRows, sink: &mut dyn Sink) -> Result<(), SinkError> {
    match rows.take()? {
        Some(rows) => sink.rows(rows),
        None => Ok(()),
    }
}

impl Scans {
    /// Whether the scan has not been met; the fault tells that it has, but said something else.
    fn is_new(&mut self, values: &[Value<'_>], line: u64) -> Result<bool, Fault> {
        let (key, content) = (hash(values, &self.key), hash(values, &self.columns));
        match self.seen.entry(key) {
            Entry::Occupied(known) => {
                let (known_content, known_line) = *known.get();
                if known_content == content {
                    return Ok(false);
                }
                let detail = format!("line {known_line} says otherwise of the same scan");
                Err(Fault::field(
                    "scan_id",
                    "the scan's own columns change between its lines",
                    detail,
                ))
            }
            Entry::Vacant(place) => {
                place.insert((content, line));
                self.order.push_back(key);
                if self.order.len() > SCANS_REMEMBERED
                    && let Some(oldest) = self.order.pop_front()
                {
                    self.seen.remove(&oldest);
                }
                Ok(true)
            }
        }
    }
}

fn hash(values: &[Value<'_>], places: &[usize]) -> u64 {
    let mut hasher = DefaultHasher::new();
    for place in places {
        match &values[*place] {
            Value::Text(text) => text.hash(&mut hasher),
            Value::Instant(at) => at.hash(&mut hasher),
            Value::Whole(whole) => whole.hash(&mut hasher),
            Value::Number(number) => number.to_bits().hash(&mut hasher),
            other => shown(other).hash(&mut hasher),
        }
        0xFFu8.hash(&mut hasher);
    }
    hasher.finish()
}
