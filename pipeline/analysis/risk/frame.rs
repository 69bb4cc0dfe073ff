//! The rows of vehicle_week as plain columns.
//!
//! Numbers are `f64`, NaN where nothing is known; days are days since 1970. Fails when a query was
//! changed so that a column is gone.

use std::collections::HashMap;

use arrow::array::AsArray;
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type};

use super::super::{Analysis, AnalysisError};

const NUMBERS: &[&str] = &[
    "step",
    "age_days",
    "uncertainty_days",
    "failed_before",
    "rest_voltage_v",
    "health",
    "health_tests",
    "health_sum",
    "age_sum",
    "age_square_sum",
    "age_health_sum",
    "found_discharged",
    "calls",
    "charges",
    "supply_sessions_28",
    "supply_sessions_91",
    "supply_sessions_364",
    "lost_sessions_91",
    "supply_floods_91",
    "supply_floods_364",
    "sessions_364",
    "least_supply_v_91",
    "km_per_day",
    "heat",
    "cold_ahead",
    "heat_ahead",
    "days_since_health",
    "days_since_test",
    "watched_days",
    "weight",
    "next_health",
    "battery_no",
];

const WORDS: &[&str] = &[
    "vin",
    "position",
    "depot",
    "chemistry",
    "battery_group",
    "powertrain",
    "tested_text",
    "verdict",
];

/// Columns of vehicle_week in the order of battery and day.
pub struct Frame {
    pub rows: usize,
    pub failed_then: Vec<bool>,
    numbers: HashMap<&'static str, Vec<f64>>,
    words: HashMap<&'static str, Vec<Option<String>>>,
}

impl Frame {
    /// Reads all rows.
    pub async fn read(analysis: &Analysis) -> Result<Self, AnalysisError> {
        let numbers: Vec<String> = NUMBERS
            .iter()
            .map(|name| format!("CAST({name} AS DOUBLE) AS {name}"))
            .collect();
        let sql = format!(
            "SELECT {}, {}, failed_then FROM (
                 SELECT *, days_between(health_on, known_on) AS days_since_health,
                        days_between(tested_on, known_on) AS days_since_test,
                        CAST(tested_on AS VARCHAR) AS tested_text
                 FROM vehicle_week)
             ORDER BY vin, position, battery_no, step",
            numbers.join(", "),
            WORDS.join(", "),
        );
        let batches = analysis.query(&sql).await?;
        let mut frame = Self {
            rows: batches.iter().map(|batch| batch.num_rows()).sum(),
            failed_then: Vec::new(),
            numbers: HashMap::new(),
            words: HashMap::new(),
        };
        for batch in &batches {
            for (index, name) in NUMBERS.iter().enumerate() {
                let column = batch.column(index).as_primitive::<Float64Type>();
                let values = frame.numbers.entry(name).or_default();
                values.extend(column.iter().map(|value| value.unwrap_or(f64::NAN)));
            }
            for (index, name) in WORDS.iter().enumerate() {
                // A query may give words as one of several text types.
                let column = cast(batch.column(NUMBERS.len() + index), &DataType::Utf8).map_err(
                    |source| AnalysisError::Rows {
                        table: "vehicle_week".to_owned(),
                        source: source.into(),
                    },
                )?;
                let values = frame.words.entry(name).or_default();
                let texts = column.as_string::<i32>().iter();
                values.extend(texts.map(|word| word.map(str::to_owned)));
            }
            let failed = batch
                .column(NUMBERS.len() + WORDS.len())
                .as_boolean_opt()
                .map(|column| column.iter().map(|failed| failed.unwrap_or(false)));
            frame.failed_then.extend(failed.into_iter().flatten());
        }
        frame.failed_then.resize(frame.rows, false);
        Ok(frame)
    }

    /// A column of numbers; all unknown where there is none of that name.
    pub fn number(&self, name: &str, row: usize) -> f64 {
        self.numbers
            .get(name)
            .and_then(|values| values.get(row))
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// A column of words.
    pub fn word(&self, name: &str, row: usize) -> Option<&str> {
        self.words.get(name)?.get(row)?.as_deref()
    }

    /// A new column, row by row.
    pub fn map(&self, value: impl Fn(usize) -> f64) -> Vec<f64> {
        (0..self.rows).map(value).collect()
    }

    /// The distinct words of a column, sorted.
    pub fn levels(&self, name: &str) -> Vec<String> {
        let mut levels: Vec<String> = self
            .words
            .get(name)
            .into_iter()
            .flatten()
            .flatten()
            .cloned()
            .collect();
        levels.sort_unstable();
        levels.dedup();
        levels
    }

    /// Rows that are to be foretold.
    pub fn current(&self) -> Vec<usize> {
        (0..self.rows)
            .filter(|row| self.number("step", *row) == 0.0)
            .collect()
    }

    /// Rows whose outcome was watched.
    pub fn watched(&self) -> Vec<usize> {
        (0..self.rows)
            .filter(|row| self.number("weight", *row) > 0.0)
            .collect()
    }
}
