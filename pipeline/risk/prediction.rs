//! What was said of one battery on one past day, beside what came.

use chrono::NaiveDate;
use serde::Serialize;

/// One battery on one origin: what was told, and what came.
#[derive(Debug, Clone, Serialize)]
pub struct Prediction {
    pub origin: NaiveDate,
    pub vin: String,
    pub position: String,
    pub chance: f64,
    pub chance_lower: f64,
    pub chance_upper: f64,
    /// Chance by age alone.
    pub by_age: f64,
    /// Worse last tests score higher; no test scores as the average one.
    pub test_score: f64,
    /// Days it was seen, at most the horizon.
    pub days: f64,
    pub failed: bool,
}
