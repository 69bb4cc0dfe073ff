//! `voltwane sql`: read-only SQL over raw and derived tables.

use std::io::{IsTerminal, Write};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, RecordBatch, StringArray};
use arrow::csv;
use arrow::datatypes::{DataType, Field, Schema};
use arrow::error::ArrowError;
use arrow::json::LineDelimitedWriter;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use arrow::util::pretty::pretty_format_batches_with_schema;
use chrono::{DateTime, Utc};
use clap::{Args, ValueEnum};

use super::{LakeArgs, Outcome, say, terminal};
use tables::{Answer, ColumnNote, TableNote};

/// Ask the lake in SQL
///
/// Raw tables end at --as-of; lake.TABLE is a raw table with everything in it. Derived tables are
/// made when a query reads them. Limits of rows, size and time are in the configuration's [limits].
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane sql --lake lake --list\n  \
    voltwane sql --lake lake --list battery_risk\n  \
    voltwane sql --lake lake \"SELECT depot, COUNT(*) FROM fleet_vehicle GROUP BY depot\"\n  \
    voltwane sql --lake lake --format csv \"SELECT * FROM battery_risk WHERE rank <= 20\"")]
pub struct Sql {
    #[command(flatten)]
    lake: LakeArgs,

    /// The query: SELECT or WITH, with parameters such as $as_of; SHOW TABLES; DESCRIBE a table
    #[arg(
        value_name = "QUERY",
        required_unless_present = "list",
        allow_hyphen_values = true
    )]
    query: Option<String>,

    /// How rows are printed
    #[arg(long, value_enum, default_value = "table", value_name = "FORM")]
    format: Form,

    /// Show every table with its columns instead, or the one named
    #[arg(long, conflicts_with = "query", value_name = "TABLE", num_args = 0..=1)]
    list: Option<Option<String>>,
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
        if let Some(table) = &self.list {
            say(listed(&analysis.list(table.as_deref()).await?))?;
            return Ok(Outcome::Clean);
        }
        let query = self.query.as_deref().unwrap_or_default();
        let answer = analysis.answer(query).await?;
        match self.format {
            Form::Table => print_table(answer).await?,
            Form::Csv => print_csv(answer).await?,
            Form::Json => print_json(answer).await?,
        }
        Ok(Outcome::Clean)
    }
}

/// A table for people needs all rows before its first line, to know how wide its columns are.
async fn print_table(mut answer: Answer) -> anyhow::Result<()> {
    let mut batches = Vec::new();
    while let Some(batch) = answer.next().await? {
        batches.push(batch);
    }
    let rows: usize = batches.iter().map(|batch| batch.num_rows()).sum();
    let schema = Arc::clone(&answer.schema);
    let text = pretty_format_batches_with_schema(schema, &batches)?.to_string();
    let mut out = std::io::stdout().lock();
    writeln!(out, "{}", terminal::printable(&text))?;
    if out.is_terminal() {
        writeln!(out, "{rows} rows")?;
    }
    Ok(())
}

async fn print_csv(mut answer: Answer) -> anyhow::Result<()> {
    let mut header = true;
    let mut next = Some(RecordBatch::new_empty(Arc::clone(&answer.schema)));
    while let Some(batch) = next {
        let mut text = Vec::new();
        let mut writer = csv::WriterBuilder::new()
            .with_header(std::mem::take(&mut header))
            .build(&mut text);
        writer.write(&flat(&batch)?)?;
        drop(writer);
        print_data(&text)?;
        next = answer.next().await?;
    }
    Ok(())
}

async fn print_json(mut answer: Answer) -> anyhow::Result<()> {
    while let Some(batch) = answer.next().await? {
        let mut text = Vec::new();
        let mut writer = LineDelimitedWriter::new(&mut text);
        writer.write(&batch)?;
        writer.finish()?;
        print_data(&text)?;
    }
    Ok(())
}

/// Writes data as it stands, but for what a terminal would obey.
fn print_data(text: &[u8]) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    if out.is_terminal() {
        return out.write_all(terminal::printable(&String::from_utf8_lossy(text)).as_bytes());
    }
    out.write_all(text)
}

/// Tables with their columns: what each is, its kind and what it means.
fn listed(tables: &[TableNote]) -> String {
    let mut lines = Vec::new();
    for table in tables {
        lines.push(format!("{}: {}", table.name, table.about));
        for ColumnNote {
            name,
            kind,
            meaning,
        } in &table.columns
        {
            let mark = if meaning.is_empty() { "" } else { ": " };
            lines.push(format!("    {name} ({kind}){mark}{meaning}"));
        }
    }
    lines.join("\n")
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
