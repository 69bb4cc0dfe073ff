//! Rows of values to Arrow batches of the lake's tables.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanBuilder, Date32Builder, Float64Builder, Int64Builder, RecordBatch,
    StringBuilder, TimestampMicrosecondBuilder,
};
use arrow::datatypes::SchemaRef;
use arrow::error::ArrowError;

use crate::fields::cell::Value;
use crate::mapping::header_layout::HeaderLayout;
use crate::sink::SourceRows;
use lake::append::Origin;
use lake::tables::{Kind, Table};

/// Rows a batch holds at most.
pub const BATCH_ROWS: usize = 8192;

/// Rows of one table that wait to be passed on.
pub struct TableRows {
    pub table: &'static Table,
    schema: SchemaRef,
    /// For each column of the table, its builder and its place among the layout's fields.
    columns: Vec<(Builder, Option<usize>)>,
    /// Where each row stands.
    origins: Vec<Origin>,
    /// Whether its rows count their lines; if not, another table's do.
    counts_lines: bool,
}

impl TableRows {
    pub fn new(table: &'static Table, layout: &HeaderLayout, counts_lines: bool) -> TableRows {
        let columns = table
            .columns
            .iter()
            .map(|column| (Builder::new(column.kind), layout.place(column.name)));
        TableRows {
            table,
            schema: table.intake_schema(),
            columns: columns.collect(),
            origins: Vec::new(),
            counts_lines,
        }
    }

    /// Adds a row.
    pub fn push(&mut self, values: &[Value<'_>], origin: &Origin) {
        for (builder, place) in &mut self.columns {
            builder.push(
                place
                    .and_then(|place| values.get(place))
                    .unwrap_or(&Value::Missing),
            );
        }
        self.origins.push(origin.clone());
    }

    pub fn is_full(&self) -> bool {
        self.origins.len() >= BATCH_ROWS
    }

    /// The rows so far, or `None` when there are none.
    pub fn take(&mut self) -> Result<Option<SourceRows>, ArrowError> {
        if self.origins.is_empty() {
            return Ok(None);
        }
        let arrays: Vec<ArrayRef> = self
            .columns
            .iter_mut()
            .map(|(builder, _)| builder.finish())
            .collect();
        let batch = RecordBatch::try_new(self.schema.clone(), arrays)?;
        Ok(Some(SourceRows {
            table: self.table.name,
            batch,
            origins: std::mem::take(&mut self.origins),
            counts_lines: self.counts_lines,
        }))
    }
}

/// The builder of one column.
enum Builder {
    Text(StringBuilder),
    Day(Date32Builder),
    Instant(TimestampMicrosecondBuilder),
    Integer(Int64Builder),
    Number(Float64Builder),
    Flag(BooleanBuilder),
}

impl Builder {
    fn new(kind: Kind) -> Builder {
        match kind {
            Kind::Text => Builder::Text(StringBuilder::new()),
            Kind::Day => Builder::Day(Date32Builder::new()),
            Kind::Instant => {
                Builder::Instant(TimestampMicrosecondBuilder::new().with_timezone("UTC"))
            }
            Kind::Integer => Builder::Integer(Int64Builder::new()),
            Kind::Number => Builder::Number(Float64Builder::new()),
            Kind::Flag => Builder::Flag(BooleanBuilder::new()),
        }
    }

    /// A value of another type cannot come here; it would be none.
    fn push(&mut self, value: &Value<'_>) {
        match (self, value) {
            (Builder::Text(builder), Value::Text(text)) => builder.append_value(text),
            (Builder::Day(builder), Value::Day(day)) => builder.append_value(*day),
            (Builder::Instant(builder), Value::Instant(at)) => builder.append_value(*at),
            (Builder::Integer(builder), Value::Whole(whole)) => builder.append_value(*whole),
            (Builder::Number(builder), Value::Number(number)) => builder.append_value(*number),
            (Builder::Flag(builder), Value::Flag(flag)) => builder.append_value(*flag),
            (Builder::Text(builder), _) => builder.append_null(),
            (Builder::Day(builder), _) => builder.append_null(),
            (Builder::Instant(builder), _) => builder.append_null(),
            (Builder::Integer(builder), _) => builder.append_null(),
            (Builder::Number(builder), _) => builder.append_null(),
            (Builder::Flag(builder), _) => builder.append_null(),
        }
    }

    fn finish(&mut self) -> ArrayRef {
        match self {
            Builder::Text(builder) => Arc::new(builder.finish()),
            Builder::Day(builder) => Arc::new(builder.finish()),
            Builder::Instant(builder) => Arc::new(builder.finish()),
            Builder::Integer(builder) => Arc::new(builder.finish()),
            Builder::Number(builder) => Arc::new(builder.finish()),
            Builder::Flag(builder) => Arc::new(builder.finish()),
        }
    }
}
