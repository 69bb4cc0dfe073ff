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
use lake::tables::{Kind, Table};

/// Rows a batch holds at most.
pub const BATCH_ROWS: usize = 8192;

/// Rows of one table that wait to be passed on.
pub struct TableRows {
    pub table: &'static Table,
    schema: SchemaRef,
    /// For each column of the table, its builder and its place among the layout's fields.
    columns: Vec<(Builder, Option<usize>)>,
    rows: usize,
    /// The source line of each row; empty where lines are counted by another table.
    lines: Vec<u64>,
}

impl TableRows {
    pub fn new(table: &'static Table, layout: &HeaderLayout) -> TableRows {
        let columns = table
            .columns
            .iter()
            .map(|column| (Builder::new(column.kind), layout.place(column.name)));
        TableRows {
            table,
            schema: table.intake_schema(),
            columns: columns.collect(),
            rows: 0,
            lines: Vec::new(),
        }
    }

    /// Adds a row; with its line if this table counts it.
    pub fn push(&mut self, values: &[Value<'_>], line: Option<u64>) {
        for (builder, place) in &mut self.columns {
            builder.push(
                place
                    .and_then(|place| values.get(place))
                    .unwrap_or(&Value::Missing),
            );
        }
        self.rows += 1;
        self.lines.extend(line);
    }

    pub fn is_full(&self) -> bool {
        self.rows >= BATCH_ROWS
    }

    /// The rows so far and their lines, or `None` when there are none.
    pub fn take(&mut self) -> Result<Option<(RecordBatch, Vec<u64>)>, ArrowError> {
        if self.rows == 0 {
            return Ok(None);
        }
        self.rows = 0;
        let arrays: Vec<ArrayRef> = self
            .columns
            .iter_mut()
            .map(|(builder, _)| builder.finish())
            .collect();
        let batch = RecordBatch::try_new(self.schema.clone(), arrays)?;
        Ok(Some((batch, std::mem::take(&mut self.lines))))
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
