//! Reads vehicle_week into the risk model's frame.
//!
//! Fails when a query was changed so that a column is gone.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use arrow::array::AsArray;
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type};
use serde::Deserialize;
use tokio::sync::OnceCell;

use crate::{Analysis, AnalysisError};
use risk::frame::{Frame, HealthTest, Number, Word, Words};
use risk::ways::Weighed;

/// What the tables of the model share and no query reads: the frame, read once, and the ways as weighed.
#[derive(Default)]
pub struct StoredFit {
    frame: OnceCell<Arc<Frame>>,
    ways: Mutex<Vec<Weighed>>,
}

impl StoredFit {
    pub fn keep_ways(&self, ways: &[Weighed]) {
        *self.ways.lock().unwrap_or_else(PoisonError::into_inner) = ways.to_vec();
    }

    pub fn ways(&self) -> Vec<Weighed> {
        let ways = self.ways.lock().unwrap_or_else(PoisonError::into_inner);
        ways.clone()
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
            // A query may give words as one of several text types.
            let cells = cast(batch.column(Number::ALL.len() + index), &DataType::Utf8).map_err(
                |source| AnalysisError::Rows {
                    table: "vehicle_week".to_owned(),
                    source: source.into(),
                },
            )?;
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

/// A test that read a battery's health.
#[derive(Deserialize)]
struct ReadTest {
    vin: String,
    position: String,
    battery_no: i64,
    age_years: f64,
    health_read: f64,
}

/// The frame with the tests of its batteries.
async fn with_tests(frame: Frame, analysis: &Analysis) -> Result<Arc<Frame>, AnalysisError> {
    let read: Vec<ReadTest> = analysis
        .rows(
            "SELECT vin, position, battery_no, age_years, health_read FROM test_history
             WHERE health_read IS NOT NULL ORDER BY vin, position, battery_no, recency DESC",
        )
        .await?;
    let mut first_of_battery: HashMap<(&str, &str, i64), usize> = HashMap::new();
    for (place, test) in read.iter().enumerate() {
        first_of_battery
            .entry((&test.vin, &test.position, test.battery_no))
            .or_insert(place);
    }
    let first_tests = (0..frame.rows).map(|row| {
        let word = |name| frame.word(name, row).unwrap_or_default();
        let battery_no = frame.number(Number::BatteryNo, row) as i64;
        let first = first_of_battery.get(&(word(Word::Vin), word(Word::Position), battery_no));
        first.copied().unwrap_or(read.len())
    });
    let first_tests = first_tests.collect();
    let tests = read.iter().map(|test| HealthTest {
        age_years: test.age_years,
        health: test.health_read,
    });
    let tests = tests.collect();
    Ok(Arc::new(frame.with_tests(tests, first_tests)))
}
