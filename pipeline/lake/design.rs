//! What a raw table of the lake is: its columns, its key, when its rows become known, its schema.

use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Schema, SchemaRef, TimeUnit};

/// The type a column has in the lake.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Text,
    /// A calendar day without a time zone.
    Day,
    /// UTC microseconds.
    Instant,
    Integer,
    Number,
    Flag,
}

impl Kind {
    /// The Arrow type that stores this kind.
    pub fn data_type(self) -> DataType {
        match self {
            Kind::Text => DataType::Utf8,
            Kind::Day => DataType::Date32,
            Kind::Instant => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
            Kind::Integer => DataType::Int64,
            Kind::Number => DataType::Float64,
            Kind::Flag => DataType::Boolean,
        }
    }
}

/// One column of a raw table.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    pub name: &'static str,
    pub kind: Kind,
    /// A row without it is quarantined.
    pub required: bool,
    pub about: &'static str,
    /// The schema version the column came with. Rows of older lakes have nothing in it, so one that
    /// came later is never required.
    pub since: u32,
    /// Of a local calendar day: the instant it is the day of, by the clocks of where it happened.
    pub local_day_of: Option<&'static str>,
    /// Whether it is part of what the row says, and not only of how it came.
    pub is_content: bool,
}

impl Column {
    /// The column, come with this schema version.
    pub(super) const fn since(mut self, version: u32) -> Self {
        self.since = version;
        self
    }

    /// The column as the local day of an instant. Intake fills it in where no dump gives it.
    pub(super) const fn local_day_of(mut self, instant: &'static str) -> Self {
        self.local_day_of = Some(instant);
        self.is_content = false;
        self
    }

    /// The column as one that does not make a row another one.
    pub(super) const fn beside(mut self) -> Self {
        self.is_content = false;
        self
    }
}

/// From when on a row can have been known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KnownFrom {
    /// From the day or instant in this column.
    Event(&'static str),
    /// From the load that wrote it: the lake's own book-keeping.
    Load,
}

/// One raw table of the lake.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    pub name: &'static str,
    /// What one row is.
    pub row_is: &'static str,
    pub columns: &'static [Column],
    /// The columns by which a row is known again; with another content it is a correction. Empty
    /// where rows are never corrected and the same content alone is the same row.
    pub key: &'static [&'static str],
    /// The schema version the table came with.
    pub since: u32,
    /// When its rows become known: nobody may look at a row from an earlier day.
    pub known_from: KnownFrom,
    /// The column whose year partitions the table, where it is partitioned.
    pub event_time: Option<&'static str>,
    /// What rows are sorted by inside a file.
    pub sorted_by: &'static [&'static str],
}

/// Columns that every raw table carries after its own. Which load brought the row; the load's instant
/// ends it.
pub const LOAD_ID: &str = "load_id";
/// A hash of the row's content.
pub const ROW_HASH: &str = "row_hash";
/// A hash of the row's key; absent in rows of the first release.
pub const KEY_HASH: &str = "key_hash";
/// The `row_hash` of the row that this one corrects.
pub const CORRECTS: &str = "corrects";
/// The schema version of rows that carry a key and what they correct.
const KEYED_SINCE: u32 = 2;
/// The file that a fact first came from, and its line there; absent in rows of older lakes.
pub const FROM_FILE: &str = "from_file";
pub const FROM_LINE: &str = "from_line";
/// The schema version of facts that carry these.
const ORIGIN_SINCE: u32 = 3;
/// Partition column of the tables with an `event_time`.
pub const EVENT_YEAR: &str = "event_year";
/// What those columns mean.
pub const KEPT_BESIDE: &[(&str, &str)] = &[
    (
        LOAD_ID,
        "the load that brought the row; its instant ends it",
    ),
    (ROW_HASH, "a hash of the row's content"),
    (KEY_HASH, "a hash of what the row is known again by"),
    (CORRECTS, "the row_hash of the row that this one corrects"),
    (FROM_FILE, "the file it first came from"),
    (FROM_LINE, "its line in that file"),
    (
        EVENT_YEAR,
        "the year of the event, by which files are parted",
    ),
];

impl Table {
    /// The columns as they come from intake: without what the lake adds.
    pub fn intake_schema(&self) -> SchemaRef {
        Arc::new(Schema::new(self.fields()))
    }

    /// The version of the table's schema: that of its youngest column. A lake keeps the one each
    /// table was written with; an older one is read and brought up, a newer one is refused.
    pub fn version(&self) -> u32 {
        let youngest = self.columns.iter().map(|column| column.since).max();
        let kept_since = match self.is_of_facts() {
            true => ORIGIN_SINCE,
            false => KEYED_SINCE,
        };
        youngest.unwrap_or(1).max(self.since).max(kept_since)
    }

    /// Whether its rows are facts out of files, which are known again and corrected; the others are the
    /// lake's own book-keeping.
    pub fn is_of_facts(&self) -> bool {
        !self.key.is_empty()
    }

    /// The columns as the lake stores them.
    pub fn lake_schema(&self) -> SchemaRef {
        let mut fields = self.fields();
        fields.push(Field::new(LOAD_ID, DataType::Utf8, false));
        fields.push(Field::new(ROW_HASH, DataType::Int64, false));
        fields.push(Field::new(KEY_HASH, DataType::Int64, true));
        fields.push(Field::new(CORRECTS, DataType::Int64, true));
        if self.is_of_facts() {
            fields.push(Field::new(FROM_FILE, DataType::Utf8, true));
            fields.push(Field::new(FROM_LINE, DataType::Int64, true));
        }
        if self.event_time.is_some() {
            fields.push(Field::new(EVENT_YEAR, DataType::Int32, false));
        }
        Arc::new(Schema::new(fields))
    }

    fn fields(&self) -> Vec<Field> {
        self.columns
            .iter()
            .map(|column| Field::new(column.name, column.kind.data_type(), !column.required))
            .collect()
    }
}

pub(super) const fn must(name: &'static str, kind: Kind, about: &'static str) -> Column {
    Column {
        name,
        kind,
        required: true,
        about,
        since: 1,
        local_day_of: None,
        is_content: true,
    }
}

pub(super) const fn may(name: &'static str, kind: Kind, about: &'static str) -> Column {
    Column {
        name,
        kind,
        required: false,
        about,
        since: 1,
        local_day_of: None,
        is_content: true,
    }
}
