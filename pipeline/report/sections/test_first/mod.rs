//! The batteries whose test may change what to do.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::manner::Manner;
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
            tests => tests.iter().take(TEST_ROWS).map(|row| TestLine::new(row, reading.manner)).collect::<Vec<_>>(),
            paying_tests => tests.iter().filter(|row| row.pays).count(),
            all_tests => tests.len(),
        },
    )?;
    Ok(part.with_table(sheet(&tests, reading.manner)))
}

/// The tests, the most valuable first.
pub async fn tests(reading: &Reading<'_>) -> Result<Vec<TestNext>, ReportError> {
    let mut tests: Vec<TestNext> = reading.rows(TEST_NEXT).await?;
    for row in &mut tests {
        row.position = reading.manner.position(&row.position);
    }
    Ok(tests)
}

pub const TEST_NEXT: &str = "SELECT * FROM test_next ORDER BY rank";

/// A battery whose test may change what to do; it pays where that is worth more than the test costs.
#[derive(Debug, Deserialize)]
pub struct TestNext {
    pub rank: i64,
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub worth: f64,
    pub pays: bool,
    pub age_days: Option<f64>,
    pub days_since_health: Option<f64>,
    pub likely_lower: Option<f64>,
    pub likely_upper: Option<f64>,
}

impl TestNext {
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
    pub worth: f64,
    pub why: String,
}

impl TestLine {
    pub fn new(row: &TestNext, manner: &Manner) -> Self {
        Self {
            rank: row.rank,
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            position: row.position.clone(),
            worth: row.worth,
            why: row.why(),
        }
    }
}

/// The batteries to test, the most valuable first.
fn sheet(rows: &[TestNext], manner: &Manner) -> Sheet {
    Sheet::new(
        "test_first",
        rows,
        vec![
            column("rank", Kind::Integer, |row: &TestNext| row.rank),
            column("vin", Kind::Text, |row: &TestNext| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &TestNext| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &TestNext| row.depot.clone()),
            column("position", Kind::Text, |row: &TestNext| {
                row.position.clone()
            }),
            column("worth", Kind::Money, |row: &TestNext| row.worth),
            column("pays", Kind::Flag, |row: &TestNext| row.pays),
            column("why", Kind::Text, |row: &TestNext| row.why()),
        ],
    )
}
