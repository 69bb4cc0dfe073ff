//! `voltwane sql`: read-only SQL over raw and derived tables.

use std::io::{IsTerminal, Write};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, RecordBatch, StringArray};
use arrow::datatypes::{DataType, Field, Schema};
use arrow::error::ArrowError;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use chrono::{DateTime, Utc};
use clap::{Args, ValueEnum};

use super::{LakeArgs, Outcome};

/// Ask the lake in SQL
///
/// Raw tables end at --as-of; lake.TABLE is a raw table with everything in it. Derived tables are
/// made when a query reads them.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane sql --lake lake --list\n  \
    voltwane sql --lake lake \"SELECT depot, COUNT(*) FROM fleet_vehicle GROUP BY depot\"\n  \
    voltwane sql --lake lake --format csv \"SELECT * FROM battery_risk WHERE rank <= 20\"")]
pub struct Sql {
    #[command(flatten)]
    lake: LakeArgs,

    /// The query: SELECT or WITH, with parameters such as $as_of
    #[arg(
        value_name = "QUERY",
        required_unless_present = "list",
        allow_hyphen_values = true
    )]
    query: Option<String>,

    /// How rows are printed
    #[arg(long, value_enum, default_value = "table", value_name = "FORM")]
    format: Form,

    /// Show every table with its columns instead
    #[arg(long, conflicts_with = "query")]
    list: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Form {
    Table,
    Csv,
    Json,
}

impl Sql {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (_, analysis) = self.lake.open(now).await?;
        let mut out = std::io::stdout().lock();
        let Some(query) = &self.query else {
            for table in analysis.list().await? {
                writeln!(out, "{}: {}", table.name, table.about)?;
                for (column, about) in table.columns {
                    writeln!(out, "    {column}: {about}")?;
                }
            }
            return Ok(Outcome::Clean);
        };
        let (schema, batches) = analysis.query_with_schema(query).await?;
        match self.format {
            Form::Table => {
                let rows: usize = batches.iter().map(|batch| batch.num_rows()).sum();
                let text =
                    arrow::util::pretty::pretty_format_batches_with_schema(schema, &batches)?;
                writeln!(out, "{text}")?;
                if std::io::stdout().is_terminal() {
                    writeln!(out, "{rows} rows")?;
                }
            }
            Form::Csv => {
                let mut writer = arrow::csv::WriterBuilder::new()
                    .with_header(true)
                    .build(&mut out);
                for batch in &batches {
                    writer.write(&flat(batch)?)?;
                }
                if batches.iter().all(|batch| batch.num_rows() == 0) {
                    writer.write(&flat(&RecordBatch::new_empty(schema))?)?;
                }
            }
            Form::Json => {
                let mut writer = arrow::json::LineDelimitedWriter::new(&mut out);
                for batch in &batches {
                    writer.write(batch)?;
                }
                writer.finish()?;
            }
        }
        Ok(Outcome::Clean)
    }
}

/// The same with lists, structs and maps as text, which is all that CSV takes.
fn flat(batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let options = FormatOptions::default();
    let mut fields = Vec::new();
    let mut columns: Vec<ArrayRef> = Vec::new();
    for (field, column) in batch.schema().fields().iter().zip(batch.columns()) {
        if !field.data_type().is_nested() {
            fields.push(field.as_ref().clone());
            columns.push(Arc::clone(column));
            continue;
        }
        let formatter = ArrayFormatter::try_new(column, &options)?;
        let texts = (0..column.len())
            .map(|row| formatter.value(row).try_to_string())
            .collect::<Result<Vec<_>, _>>()?;
        fields.push(Field::new(field.name(), DataType::Utf8, true));
        columns.push(Arc::new(StringArray::from(texts)));
    }
    RecordBatch::try_new(Arc::new(Schema::new(fields)), columns)
}
