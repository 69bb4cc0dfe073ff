//! The rows of vehicle_week as plain columns.
//!
//! Numbers are `f64`, NaN where nothing is known; days are days since 1970. Fails when a query was
//! changed so that a column is gone.

use std::collections::HashMap;

pub const NUMBERS: &[&str] = &[
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
    "cold_ahead_variance",
    "years_ahead",
    "coldest_28",
    "coldest_91",
    "coldest_182",
    "coldest_364",
    "coldest_728",
    "coldest_came",
    "heat_ahead",
    "known_day",
    "days_since_health",
    "days_since_test",
    "watched_days",
    "weight",
    "next_health",
    "battery_no",
];

pub const WORDS: &[&str] = &[
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
    /// A frame of columns named as in [`NUMBERS`] and [`WORDS`], each with a value a row.
    pub fn new(
        numbers: HashMap<&'static str, Vec<f64>>,
        words: HashMap<&'static str, Vec<Option<String>>>,
        failed_then: Vec<bool>,
    ) -> Self {
        Self {
            rows: failed_then.len(),
            failed_then,
            numbers,
            words,
        }
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
