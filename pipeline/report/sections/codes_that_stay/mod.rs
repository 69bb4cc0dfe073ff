//! Codes that a plain clear does not end, and codes that only say that another module holds one.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section, with_limits};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::latched::Clears;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for codes that stay",
    templates: &[("codes_that_stay.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let latched = latched(reading).await?;
    let mut companions: Vec<Companion> = reading.rows(COMPANIONS).await?;
    for row in &mut companions {
        row.module_address = reading.style.module(&row.module_address);
    }
    let part = reading.part(
        "codes_that_stay.md",
        context! {
            latched => latched.iter().map(|row| LatchedLine::new(row, reading.style)).collect::<Vec<_>>(),
            companions,
        },
    )?;
    Ok(part.with_table(sheet(&latched, reading.style)))
}

/// The codes that plain clears leave behind.
pub async fn latched(reading: &Reading<'_>) -> Result<Vec<Latched>, ReportError> {
    reading.rows(LATCHED).await
}

const LATCHED: &str = "
    SELECT * FROM latched_code WHERE latched ORDER BY make, model, module_address, code";

/// A code that plain clears leave behind.
#[derive(Debug, Deserialize)]
pub struct Latched {
    pub make: String,
    pub model: String,
    pub module_address: String,
    pub code: String,
    pub clears: i64,
    pub survived: i64,
    pub share_lower: Option<f64>,
    pub share_upper: Option<f64>,
    pub protected_clears: i64,
    pub protected_gone: i64,
}

impl Latched {
    fn to_do(&self) -> String {
        Clears {
            clears: self.clears,
            survived: self.survived,
            protected_clears: self.protected_clears,
            protected_gone: self.protected_gone,
        }
        .said()
    }
}

const COMPANIONS: &str = "
    SELECT make, model, module_address, code, times, times_with_others, share_of_sessions
    FROM companion_code WHERE companion ORDER BY make, model, module_address, code";

/// A code that only says that another module holds one.
#[derive(Debug, Deserialize, Serialize)]
struct Companion {
    pub make: String,
    pub model: String,
    pub module_address: String,
    pub code: String,
    pub times: i64,
    pub times_with_others: i64,
    pub share_of_sessions: Option<f64>,
}

#[derive(Debug, Serialize)]
struct LatchedLine {
    model: String,
    module: String,
    code: String,
    share: String,
    to_do: String,
}

impl LatchedLine {
    fn new(row: &Latched, style: &ReportStyle) -> Self {
        let share = row.survived as f64 / row.clears.max(1) as f64;
        Self {
            model: format!("{} {}", row.make, row.model),
            module: style.module(&row.module_address),
            code: row.code.clone(),
            share: with_limits(Some(share), row.share_lower, row.share_upper),
            to_do: row.to_do(),
        }
    }
}

fn sheet(rows: &[Latched], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "latched-codes",
        rows,
        vec![
            column("make", Kind::Text, |row: &Latched| row.make.clone()),
            column("model", Kind::Text, |row: &Latched| row.model.clone()),
            column("module_address", Kind::Text, |row: &Latched| {
                style.module(&row.module_address)
            }),
            column("code", Kind::Text, |row: &Latched| row.code.clone()),
            column("clears", Kind::Integer, |row: &Latched| row.clears),
            column("survived", Kind::Integer, |row: &Latched| row.survived),
            column("share_lower", Kind::Share, |row: &Latched| row.share_lower),
            column("share_upper", Kind::Share, |row: &Latched| row.share_upper),
            column("protected_clears", Kind::Integer, |row: &Latched| {
                row.protected_clears
            }),
            column("protected_gone", Kind::Integer, |row: &Latched| {
                row.protected_gone
            }),
            column("what_to_do", Kind::Text, Latched::to_do),
        ],
    )
}
