//! The answer to a query that a user wrote, batch by batch, within the limits of rows, size and time.
//!
//! Nothing is collected here, so an answer of any length takes the memory of a batch. `SHOW TABLES` and
//! `DESCRIBE` are answered from the catalogue.

use std::sync::Arc;
use std::time::{Duration, Instant};

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch, StringArray};
use arrow::datatypes::{DataType, SchemaRef};
use datafusion::execution::SendableRecordBatchStream;
use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::sqlparser::ast;
use futures::StreamExt;

use super::query_graph::check_depth;
use super::{Analysis, AnalysisError};
use settings::limits::{bytes_of_mb, count};

/// An answer on its way.
pub struct Answer {
    pub schema: SchemaRef,
    rest: Rest,
    clock: Clock,
    rows_left: u64,
    bytes_left: u64,
    limits: settings::Limits,
}

enum Rest {
    Stream(SendableRecordBatchStream),
    /// From the catalogue: one batch.
    Ready(Option<RecordBatch>),
}

/// The time a query has left.
#[derive(Clone, Copy)]
struct Clock {
    until: Instant,
    seconds: i64,
}

impl Clock {
    async fn within<T>(
        self,
        work: impl Future<Output = Result<T, AnalysisError>>,
    ) -> Result<T, AnalysisError> {
        let left = self.until.saturating_duration_since(Instant::now());
        match tokio::time::timeout(left, work).await {
            Ok(done) => done,
            Err(_) => Err(AnalysisError::PastLimit {
                what: format!("the query takes more than {} seconds", self.seconds),
                setting: "limits.query_seconds",
            }),
        }
    }
}

impl Analysis {
    /// Answers one read-only query, `SHOW TABLES` or `DESCRIBE table`; parameters are bound.
    pub async fn answer(&self, sql: &str) -> Result<Answer, AnalysisError> {
        let limits = self.settings().limits.clone();
        let clock = Clock {
            until: Instant::now() + Duration::from_secs(count(limits.query_seconds)),
            seconds: limits.query_seconds,
        };
        let (schema, rest) = match self.answer_of_catalogue(sql).await? {
            Some(batch) => (batch.schema(), Rest::Ready(Some(batch))),
            None => {
                let work = async {
                    let frame = self.frame(sql, &[]).await?;
                    let schema = Arc::new(frame.schema().as_arrow().clone());
                    let stream = frame.execute_stream().await;
                    Ok((schema, stream.map_err(AnalysisError::query("query"))?))
                };
                let (schema, stream) = clock.within(work).await?;
                (schema, Rest::Stream(stream))
            }
        };
        Ok(Answer {
            schema,
            rest,
            clock,
            rows_left: count(limits.answer_rows),
            bytes_left: bytes_of_mb(limits.answer_mb),
            limits,
        })
    }

    async fn answer_of_catalogue(&self, sql: &str) -> Result<Option<RecordBatch>, AnalysisError> {
        check_depth("query", sql, self.settings().limits.expression_depth)?;
        let statements = DFParser::parse_sql(sql).map_err(AnalysisError::query("query"))?;
        let Some(Statement::Statement(statement)) = statements.front() else {
            return Ok(None);
        };
        let (names, rows): (&[&str], Vec<Vec<String>>) = match statement.as_ref() {
            ast::Statement::ShowTables { .. } => {
                let notes = self.list(None).await?;
                let rows = notes.into_iter().map(|note| vec![note.name, note.about]);
                (&["table", "about"], rows.collect())
            }
            ast::Statement::ExplainTable { table_name, .. } => {
                let notes = self.list(Some(&table_name.to_string())).await?;
                let columns = notes.into_iter().flat_map(|note| note.columns);
                let rows = columns.map(|column| vec![column.name, column.kind, column.meaning]);
                (&["column", "kind", "meaning"], rows.collect())
            }
            _ => return Ok(None),
        };
        let columns = names.iter().enumerate().map(|(at, name)| {
            let texts: StringArray = rows.iter().map(|row| Some(row[at].as_str())).collect();
            (*name, Arc::new(texts) as ArrayRef)
        });
        RecordBatch::try_from_iter(columns)
            .map(Some)
            .map_err(|source| AnalysisError::query("query")(source.into()))
    }
}

impl Answer {
    /// The next rows, none at the end.
    pub async fn next(&mut self) -> Result<Option<RecordBatch>, AnalysisError> {
        let batch = match &mut self.rest {
            Rest::Ready(batch) => batch.take(),
            Rest::Stream(stream) => {
                let work = async {
                    let batch = stream.next().await.transpose();
                    batch.map_err(AnalysisError::query("query"))
                };
                self.clock.within(work).await?
            }
        };
        let Some(batch) = batch else { return Ok(None) };
        let past = |what: String, setting| Err(AnalysisError::PastLimit { what, setting });
        let left = self.rows_left.checked_sub(batch.num_rows() as u64);
        let Some(left) = left else {
            let what = format!("the answer has more than {} rows", self.limits.answer_rows);
            return past(what, "limits.answer_rows");
        };
        self.rows_left = left;
        let size: usize = batch.columns().iter().map(text_bytes).sum();
        let Some(left) = self.bytes_left.checked_sub(size as u64) else {
            let what = format!("the answer is larger than {} MiB", self.limits.answer_mb);
            return past(what, "limits.answer_mb");
        };
        self.bytes_left = left;
        Ok(Some(batch))
    }
}

/// Bytes of a column's rows, not of the buffers it may share with others.
fn text_bytes(column: &ArrayRef) -> usize {
    match column.data_type() {
        DataType::Utf8View => {
            let texts = column.as_string_view();
            texts.iter().map(|text| 16 + text.map_or(0, str::len)).sum()
        }
        _ => column
            .to_data()
            .get_slice_memory_size()
            .unwrap_or_else(|_| column.get_array_memory_size()),
    }
}
