//! What a load would make of a file, column by column, without loading it.
//!
//! Reads the file twice: its first rows to show values before and after, and all of it to count.
//! A table that no mapping fits is explained too, by what its columns most likely are. Fails as
//! [`read_file`] does, but for unknown headers.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

use chrono::{DateTime, Utc};

use super::error::IntakeError;
use super::fields::cell::Value;
use super::fields::field_plan::FieldPlan;
use super::fields::meaning::Meaning;
use super::files::container::{Part, failed, visit_parts};
use super::forms::record::{Record, Records, Step};
use super::forms::text::Layout;
use super::mapping::header_layout::HeaderLayout;
use super::mapping::mappings::Mappings;
use super::mapping::names::likely_field;
use super::mapping::recognise::likely_kind;
use super::mapping::shop_mapping::Mapping;
use super::read::{PartSummary, read_source};
use super::rows::plausible::shown;
use super::rows::row::RowReader;
use super::sink::{QuarantinedRow, Sink, SinkError, SourceRows};
use super::source::{Source, visit_sources};

/// What a load would make of one file.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    pub file: String,
    pub tables: Vec<TableExplanation>,
    /// Why members and sheets could not be read, each in a line that names it.
    pub left_out: Vec<String>,
}

/// What a load would make of one table in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct TableExplanation {
    /// The file, or `file/member`.
    pub name: String,
    /// Encoding and delimiter in words; empty for forms that have none.
    pub layout: String,
    pub recognised: Recognised,
    pub columns: Vec<ColumnExplanation>,
    /// Fields without a column: field, what stands in for it (empty: nothing).
    pub without_column: Vec<(&'static str, String)>,
    pub rows_read: u64,
    /// Rows by table that would go to the lake, before those it has already are left out.
    pub rows_good: BTreeMap<&'static str, u64>,
    pub rows_quarantined: u64,
    /// Why rows would be quarantined: class, rows, the first line, its whole reason.
    pub reasons: Vec<ReasonCount>,
}

/// Rows that would be quarantined for one kind of reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReasonCount {
    pub class: String,
    pub rows: u64,
    pub first_line: u64,
    pub example: String,
}

/// Whether a table was recognised, and by what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Recognised {
    By {
        kind: &'static str,
        mapping: String,
        time_zone: String,
    },
    /// No mapping fits; it looks most like this kind. The message is the load's.
    No {
        likely_kind: &'static str,
        message: String,
    },
}

/// How one column is understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnExplanation {
    pub column: String,
    pub use_: ColumnUse,
    /// The first cells, each with the value made of it; empty where none was made.
    pub samples: Vec<(String, String)>,
}

/// What a column is used for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ColumnUse {
    Field {
        field: &'static str,
        /// Unit, format and kind of reading in words; empty where nothing is to be said.
        read_as: String,
    },
    /// The mapping says to ignore it.
    Ignored,
    /// Not used; the field it may be, where one is near.
    Unused { likely: Option<&'static str> },
}

/// Explains the file at `path`, with values of `sample_rows` rows for each column.
pub fn explain_file(
    path: &Path,
    mappings: &Mappings,
    now: DateTime<Utc>,
    sample_rows: usize,
) -> Result<Explanation, IntakeError> {
    let taken = Arc::new(AtomicU64::new(0));
    let (mut tables, mut left_out) = (Vec::new(), Vec::new());
    visit_parts(path, &mappings.limits, &taken, &mut |part| {
        let compressed = part.as_ref().is_ok_and(Part::is_compressed);
        let read = part.and_then(|part| {
            visit_sources(part, &mut |source| {
                let explained = source.and_then(|source| {
                    explain_source(source, mappings, compressed, now, sample_rows)
                });
                match explained {
                    Ok(table) => tables.push(table),
                    Err(error) => left_out.push(error),
                }
                Ok(())
            })
        });
        left_out.extend(read.err());
        Ok(())
    })?;
    left_out.extend(count(path, mappings, now, &mut tables)?);
    if tables.len() < 2 && !left_out.is_empty() {
        return Err(left_out.remove(0));
    }
    Ok(Explanation {
        file: path.display().to_string(),
        tables,
        left_out: left_out.iter().map(ToString::to_string).collect(),
    })
}

fn explain_source(
    source: Source<'_>,
    mappings: &Mappings,
    compressed: bool,
    now: DateTime<Utc>,
    sample_rows: usize,
) -> Result<TableExplanation, IntakeError> {
    let name = source.name.clone();
    let header_layout = match source.header_layout(mappings) {
        Err(IntakeError::UnknownKind { .. }) => {
            return unknown(source, mappings, compressed, sample_rows);
        }
        header_layout => header_layout?,
    };
    let mut table = known(
        &name,
        &header_layout,
        source.layout_words(&header_layout.mapping.layout),
    );
    let mut records = source.records(&header_layout.mapping)?;
    sample(
        &mut table,
        &header_layout,
        now,
        records.as_mut(),
        sample_rows,
    )
    .map_err(|error| failed(&name, compressed, error))?;
    Ok(table)
}

/// The columns of a table whose header is laid out, without values yet.
fn known(name: &str, header_layout: &HeaderLayout, layout: String) -> TableExplanation {
    let columns = header_layout
        .header
        .iter()
        .enumerate()
        .map(|(index, column)| {
            let field = header_layout
                .fields
                .iter()
                .find(|field| field.cells.iter().any(|cell| cell.index == index));
            let use_ = match field {
                Some(field) => ColumnUse::Field {
                    field: field.column.name,
                    read_as: read_as(field, index),
                },
                None if header_layout.unused.contains(column) => {
                    let likely = likely_field(header_layout.kind(), column).map(|(field, _)| field);
                    let free = |field: &&str| {
                        header_layout
                            .fields
                            .iter()
                            .any(|own| own.column.name == *field && own.cells.is_empty())
                    };
                    ColumnUse::Unused {
                        likely: likely.filter(free),
                    }
                }
                None => ColumnUse::Ignored,
            };
            ColumnExplanation {
                column: column.clone(),
                use_,
                samples: Vec::new(),
            }
        });
    let mut cells = header_layout.fields.iter().flat_map(|field| &field.cells);
    let kind_told = cells.any(|cell| cell.measured_kind.is_some());
    let without = header_layout.fields.iter().filter(|field| {
        field.cells.is_empty() && !(kind_told && field.column.name == "measured_kind")
    });
    TableExplanation {
        name: name.to_owned(),
        layout,
        recognised: Recognised::By {
            kind: header_layout.kind().name(),
            mapping: header_layout.mapping.name.clone(),
            time_zone: header_layout.mapping.zone.to_string(),
        },
        columns: columns.collect(),
        without_column: without
            .map(|field| {
                (
                    field.column.name,
                    field.constant.clone().unwrap_or_default(),
                )
            })
            .collect(),
        rows_read: 0,
        rows_good: BTreeMap::new(),
        rows_quarantined: 0,
        reasons: Vec::new(),
    }
}

/// How a field is read from the column at `index`, in words.
fn read_as(field: &FieldPlan, index: usize) -> String {
    let mut words = Vec::new();
    if let Some(cell) = field.cells.iter().find(|cell| cell.index == index) {
        words.extend(cell.unit.as_ref().map(|unit| format!("in {unit}")));
        words.extend(cell.hexadecimal.then(|| "hexadecimal".to_owned()));
        words.extend(cell.measured_kind.map(|kind| format!("as {kind}")));
    }
    if let Meaning::Day(_) | Meaning::Instant(_) = field.meaning {
        words.push(format!("written {}", field.formats.shown()));
    }
    words.join(", ")
}

/// Fills in the cells and values of the first rows, good ones before others.
fn sample(
    table: &mut TableExplanation,
    header_layout: &HeaderLayout,
    now: DateTime<Utc>,
    records: &mut dyn Records,
    sample_rows: usize,
) -> std::io::Result<()> {
    /// Rows that are looked through for good ones.
    const LOOKED_THROUGH: usize = 1000;
    let reader = RowReader::new(header_layout, now);
    let mut record = Record::default();
    let mut good = 0;
    // Of a row that cannot be used, each cell with its own outcome.
    let mut bad: Vec<Vec<(String, String)>> = Vec::new();
    let outcomes = |record: &Record, values: &[Value<'_>], columns: usize| {
        (0..columns)
            .map(|index| {
                let place = header_layout
                    .fields
                    .iter()
                    .position(|field| field.cells.iter().any(|cell| cell.index == index));
                let after = place.map(|place| shown(&values[place])).unwrap_or_default();
                (record.cell(index).trim().to_owned(), after)
            })
            .collect::<Vec<_>>()
    };
    for _ in 0..LOOKED_THROUGH {
        if good == sample_rows {
            break;
        }
        match records.next(&mut record)? {
            None => break,
            Some(Step::Bad(_) | Step::Unfinished) => continue,
            Some(Step::Row) => {}
        }
        let columns = table.columns.len();
        let Ok((values, _)) = reader.read(&record) else {
            if bad.len() < sample_rows {
                bad.push(outcomes(&record, &reader.each_cell(&record), columns));
            }
            continue;
        };
        good += 1;
        let cells = outcomes(&record, &values, columns);
        for (column, cell) in table.columns.iter_mut().zip(cells) {
            column.samples.push(cell);
        }
    }
    for cells in bad.into_iter().take(sample_rows - good) {
        for (column, cell) in table.columns.iter_mut().zip(cells) {
            column.samples.push(cell);
        }
    }
    Ok(())
}

/// A table that nothing fits, with what its columns most likely are.
fn unknown(
    source: Source<'_>,
    mappings: &Mappings,
    compressed: bool,
    sample_rows: usize,
) -> Result<TableExplanation, IntakeError> {
    let message = source
        .header_layout(mappings)
        .err()
        .map(|error| error.to_string())
        .unwrap_or_default();
    let layout = Layout::default();
    let header = source.header(&layout).unwrap_or_default();
    let (kind, _) = likely_kind(&header);
    let column = |name: &String| ColumnExplanation {
        column: name.clone(),
        use_: ColumnUse::Unused {
            likely: likely_field(kind, name).map(|(field, _)| field),
        },
        samples: Vec::new(),
    };
    let mut table = TableExplanation {
        name: source.name.clone(),
        layout: source.layout_words(&layout),
        recognised: Recognised::No {
            likely_kind: kind.name(),
            message,
        },
        columns: header.iter().map(column).collect(),
        without_column: Vec::new(),
        rows_read: 0,
        rows_good: BTreeMap::new(),
        rows_quarantined: 0,
        reasons: Vec::new(),
    };
    let mut records = source.records(&Mapping::new("", kind))?;
    let mut record = Record::default();
    let mut next = || {
        records.next(&mut record).map(|step| {
            (
                step.is_some(),
                record.cells().map(str::to_owned).collect::<Vec<_>>(),
            )
        })
    };
    for _ in 0..sample_rows {
        let (any, cells) = next().map_err(|error| failed(&table.name, compressed, error))?;
        if !any {
            break;
        }
        for (column, cell) in table.columns.iter_mut().zip(cells) {
            column.samples.push((cell.trim().to_owned(), String::new()));
        }
    }
    Ok(table)
}

/// Counts what a load would take and quarantine of each table that was recognised. Answers what turned
/// out to be damaged only in the midst of it.
fn count(
    path: &Path,
    mappings: &Mappings,
    now: DateTime<Utc>,
    tables: &mut [TableExplanation],
) -> Result<Vec<IntakeError>, IntakeError> {
    let taken = Arc::new(AtomicU64::new(0));
    let mut damaged = Vec::new();
    let mut tables = tables.iter_mut().peekable();
    visit_parts(path, &mappings.limits, &taken, &mut |part| {
        let compressed = part.as_ref().is_ok_and(Part::is_compressed);
        // What could not be read before is told of already.
        let Ok(part) = part else { return Ok(()) };
        let _ = visit_sources(part, &mut |source| {
            let Ok(source) = source else { return Ok(()) };
            let table = tables.next_if(|table| table.name == source.name);
            let Some(table) = table.filter(|table| table.is_recognised()) else {
                return Ok(());
            };
            let mut tally = Tally {
                table,
                summary: None,
            };
            let read = source.header_layout(mappings).and_then(|header_layout| {
                read_source(source, &header_layout, compressed, now, &mut tally)
            });
            match read {
                Ok(summary) => tally.summary = Some(summary),
                Err(error) => damaged.push(error),
            }
            tally.close();
            Ok(())
        });
        Ok(())
    })?;
    Ok(damaged)
}

impl TableExplanation {
    pub fn is_recognised(&self) -> bool {
        matches!(self.recognised, Recognised::By { .. })
    }
}

/// A sink that only counts.
struct Tally<'t> {
    table: &'t mut TableExplanation,
    summary: Option<PartSummary>,
}

impl Tally<'_> {
    fn close(&mut self) {
        if let Some(summary) = &self.summary {
            self.table.rows_read = summary.rows_read;
            self.table.rows_quarantined = summary.rows_quarantined;
        }
        self.table
            .reasons
            .sort_by_key(|reason| std::cmp::Reverse(reason.rows));
    }
}

impl Sink for Tally<'_> {
    fn rows(&mut self, rows: SourceRows) -> Result<(), SinkError> {
        *self.table.rows_good.entry(rows.table).or_default() += rows.batch.num_rows() as u64;
        Ok(())
    }

    fn quarantine(&mut self, row: QuarantinedRow) -> Result<(), SinkError> {
        if row.mended {
            return Ok(());
        }
        let class = row.reason.split(": ").next().unwrap_or_default();
        match self
            .table
            .reasons
            .iter_mut()
            .find(|reason| reason.class == class)
        {
            Some(reason) => reason.rows += 1,
            None => self.table.reasons.push(ReasonCount {
                class: class.to_owned(),
                rows: 1,
                first_line: row.line,
                example: row.reason,
            }),
        }
        Ok(())
    }

    fn progress(&mut self, _: u64, _: u64) {}
}
