//! The batteries whose test may change what to do.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for tests that would tell something",
    templates: &[("test_first.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

const TEST_ROWS: usize = 10;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let tests = tests(reading).await?;
    let part = reading.part(
        "test_first.md",
        context! {
            tests => tests.iter().take(TEST_ROWS).map(|row| TestLine::new(row, reading.style)).collect::<Vec<_>>(),
            paying_tests => tests.iter().filter(|row| row.pays).count(),
            all_tests => tests.len(),
        },
    )?;
    Ok(part.with_table(sheet(&tests, reading.style)))
}

/// The tests, the most valuable first.
pub async fn tests(reading: &Reading<'_>) -> Result<Vec<TestFirst>, ReportError> {
    let mut tests: Vec<TestFirst> = reading.rows(TEST_FIRST).await?;
    for row in &mut tests {
        row.position = reading.style.position(&row.position);
    }
    Ok(tests)
}

pub const TEST_FIRST: &str = "SELECT * FROM test_first ORDER BY rank";

/// A battery whose test may change what to do; it pays where that is saving more than the test costs.
#[derive(Debug, Deserialize)]
pub struct TestFirst {
    pub rank: i64,
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub saving: f64,
    pub pays: bool,
    pub age_days: Option<f64>,
    pub days_since_health: Option<f64>,
    pub likely_lower: Option<f64>,
    pub likely_upper: Option<f64>,
}

impl TestFirst {
    pub fn why(&self) -> String {
        words::test_answer::likely(
            self.days_since_health,
            self.age_days,
            self.likely_lower,
            self.likely_upper,
        )
    }
}

/// A battery to test.
#[derive(Debug, Serialize)]
pub struct TestLine {
    pub rank: i64,
    pub unit: String,
    pub depot: String,
    pub position: String,
    pub saving: f64,
    pub why: String,
}

impl TestLine {
    pub fn new(row: &TestFirst, style: &ReportStyle) -> Self {
        Self {
            rank: row.rank,
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            position: row.position.clone(),
            saving: row.saving,
            why: row.why(),
        }
    }
}

/// The batteries to test, the most valuable first.
fn sheet(rows: &[TestFirst], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "test_first",
        rows,
        vec![
            column("rank", Kind::Integer, |row: &TestFirst| row.rank),
            column("vin", Kind::Text, |row: &TestFirst| style.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &TestFirst| {
                row.unit_no.as_deref().map(|unit| style.unit(unit))
            }),
            column("depot", Kind::Text, |row: &TestFirst| row.depot.clone()),
            column("position", Kind::Text, |row: &TestFirst| {
                row.position.clone()
            }),
            column("saving", Kind::Money, |row: &TestFirst| row.saving),
            column("pays", Kind::Flag, |row: &TestFirst| row.pays),
            column("why", Kind::Text, |row: &TestFirst| row.why()),
        ],
    )
}
