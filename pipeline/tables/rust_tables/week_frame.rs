//! Reads vehicle_week into the risk model's frame.
//!
//! Fails when a query was changed so that a column is gone.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use arrow::array::{ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type};
use tokio::sync::OnceCell;

use crate::{Analysis, AnalysisError};
use risk::drawn::Drawn;
use risk::frame::{Frame, HealthTest, Number, Word, Words};
use risk::ways::Weighed;

/// What the tables of the model share and no query reads: the frame, read once, and the ways as
/// weighed and drawn.
#[derive(Default)]
pub struct StoredFit {
    frame: OnceCell<Arc<Frame>>,
    chosen: OnceLock<(Vec<Weighed>, Drawn)>,
}

impl StoredFit {
    /// Keeps what the model's trials chose; the model is made once.
    pub fn keep(&self, ways: &[Weighed], drawn: &Drawn) {
        self.chosen.get_or_init(|| (ways.to_vec(), drawn.clone()));
    }

    /// The ways with their weights.
    pub fn ways(&self) -> &[Weighed] {
        self.chosen.get().map_or(&[], |(ways, _)| ways)
    }

    /// How hard the slopes of the model were drawn.
    pub fn drawn(&self) -> Option<&Drawn> {
        self.chosen.get().map(|(_, drawn)| drawn)
    }
}

/// All rows of vehicle_week, ordered by battery and weeks back; read once and kept.
pub async fn read_frame(analysis: &Analysis) -> Result<Arc<Frame>, AnalysisError> {
    let frame = analysis.kept.frame.get_or_try_init(|| read(analysis));
    frame.await.cloned()
}

async fn read(analysis: &Analysis) -> Result<Arc<Frame>, AnalysisError> {
    let casts: Vec<String> = Number::ALL
        .iter()
        .map(|column| format!("CAST({0} AS DOUBLE) AS {0}", column.name()))
        .collect();
    let words: Vec<&str> = Word::ALL.iter().map(|column| column.name()).collect();
    let sql = format!(
        "SELECT {}, {}, failed_then FROM (
             SELECT *, days_between(health_on, known_on) AS days_since_health,
                    days_between(tested_on, known_on) AS days_since_test,
                    days_between(discharged_on, known_on) AS days_since_discharged,
                    days_between(DATE '1970-01-01', known_on) AS known_day
             FROM vehicle_week)
         ORDER BY vin, position, battery_no, periods_back",
        casts.join(", "),
        words.join(", "),
    );
    let batches = analysis.query(&sql).await?;
    let rows = batches.iter().map(|batch| batch.num_rows()).sum();
    let mut failed_then = Vec::with_capacity(rows);
    let mut numbers: HashMap<Number, Vec<f64>> = HashMap::new();
    let mut words: HashMap<Word, Words> = HashMap::new();
    for batch in &batches {
        for (index, column) in Number::ALL.iter().enumerate() {
            let values = numbers.entry(*column).or_default();
            let cells = batch.column(index).as_primitive::<Float64Type>();
            values.extend(cells.iter().map(|value| value.unwrap_or(f64::NAN)));
        }
        for (index, column) in Word::ALL.iter().enumerate() {
            let cells = texts(batch, Number::ALL.len() + index, "vehicle_week")?;
            let values = words.entry(*column).or_default();
            cells
                .as_string::<i32>()
                .iter()
                .for_each(|word| values.push(word));
        }
        let failed = batch
            .column(Number::ALL.len() + Word::ALL.len())
            .as_boolean_opt()
            .map(|column| column.iter().map(|failed| failed.unwrap_or(false)));
        failed_then.extend(failed.into_iter().flatten());
    }
    failed_then.resize(rows, false);
    let frame = Frame::new(
        failed_then,
        |column| numbers.remove(&column).unwrap_or_default(),
        |column| words.remove(&column).unwrap_or_default(),
    );
    with_tests(frame, analysis).await
}

/// The frame with the tests of its batteries. Rows and tests come in the same order, so one walk beside the rows
/// finds each battery's first test.
async fn with_tests(frame: Frame, analysis: &Analysis) -> Result<Arc<Frame>, AnalysisError> {
    let batches = analysis
        .query(
            "SELECT vin, position, CAST(battery_no AS DOUBLE) AS battery_no,
                    CAST(age_years AS DOUBLE) AS age_years, CAST(health_read AS DOUBLE) AS health_read
             FROM test_history
             WHERE health_read IS NOT NULL ORDER BY vin, position, battery_no, recency DESC",
        )
        .await?;
    let mut tests = Vec::new();
    let mut first_tests = Vec::with_capacity(frame.rows);
    for batch in &batches {
        let (vin, position) = (
            texts(batch, 0, "test_history")?,
            texts(batch, 1, "test_history")?,
        );
        let (vin, position) = (vin.as_string::<i32>(), position.as_string::<i32>());
        let number = |column| batch.column(column).as_primitive::<Float64Type>();
        let (battery_no, age_years, health) = (number(2), number(3), number(4));
        for test in 0..batch.num_rows() {
            let of = (
                vin.value(test),
                position.value(test),
                battery_no.value(test),
            );
            // At a battery's first test come its rows, and those of untested ones before it, which read none.
            while first_tests.len() < frame.rows && battery(&frame, first_tests.len()) <= of {
                first_tests.push(tests.len());
            }
            tests.push(HealthTest {
                age_years: age_years.value(test),
                health: health.value(test),
            });
        }
    }
    first_tests.resize(frame.rows, tests.len());
    Ok(Arc::new(frame.with_tests(tests, first_tests)))
}

/// Which battery a row of the frame is of, by what the rows are ordered by.
fn battery(frame: &Frame, row: usize) -> (&str, &str, f64) {
    let word = |name| frame.word(name, row).unwrap_or_default();
    (
        word(Word::Vin),
        word(Word::Position),
        frame.number(Number::BatteryNo, row),
    )
}

/// A column of words, which a query may give as one of several text types.
fn texts(batch: &RecordBatch, column: usize, table: &str) -> Result<ArrayRef, AnalysisError> {
    cast(batch.column(column), &DataType::Utf8).map_err(|source| AnalysisError::Rows {
        table: table.to_owned(),
        source: source.into(),
    })
}
