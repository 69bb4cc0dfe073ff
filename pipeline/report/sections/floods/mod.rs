//! The floods of codes of the last seven days.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section};
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::{self, evidence::Evidence};
use crate::{ReportError, cells};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for floods of codes",
    templates: &[("floods.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let floods = floods(reading).await?;
    let part = reading.part(
        "floods.md",
        context! {
            floods => floods.iter().take(LIST_ROWS).map(|row| FloodLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_floods => floods.len(),
        },
    )?;
    Ok(part.with_table(sheet(&floods, reading.style)))
}

/// The floods, the largest first.
pub async fn floods(reading: &Reading<'_>) -> Result<Vec<Flood>, ReportError> {
    reading.rows(FLOODS_THIS_WEEK).await
}

pub const FLOODS_THIS_WEEK: &str = "
    SELECT f.*, v.unit_no, v.depot, CONCAT_WS(' ', v.make, v.model) AS model,
           CAST(f.started_at AS DATE) AS day
    FROM code_flood f LEFT JOIN fleet_vehicle v ON v.vin = f.vin
    WHERE days_between(CAST(f.started_at AS DATE), $as_of) BETWEEN 0 AND 6
    ORDER BY f.codes DESC, f.vin, f.started_at";

/// A flood of the last seven days.
#[derive(Debug, Deserialize)]
pub struct Flood {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub cause: String,
    pub evidence: Vec<Evidence>,
    pub p_value: Option<f64>,
}

impl Flood {
    pub fn because(&self) -> String {
        words::evidence::said(&self.evidence, self.codes)
    }
}

/// A flood of this week.
#[derive(Debug, Serialize)]
pub struct FloodLine {
    pub unit: String,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub cause: String,
    pub evidence: String,
}

impl FloodLine {
    pub fn new(row: &Flood, style: &ReportStyle) -> Self {
        let mut evidence = row.because();
        if let Some(p_value) = row.p_value {
            let odds = match p_value {
                ..1e-6 => "chance alone: below 1 in 1,000,000".to_owned(),
                p => format!("chance alone: {}", cells::chance(p)),
            };
            if !evidence.is_empty() {
                evidence.push_str("; ");
            }
            evidence.push_str(&odds);
        }
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            model: row.model.clone(),
            day: row.day.clone(),
            codes: row.codes,
            modules: row.modules,
            supply_voltage_v: row.supply_voltage_v,
            cause: row.cause.clone(),
            evidence,
        }
    }
}

/// The floods of the last seven days.
fn sheet(rows: &[Flood], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "floods",
        rows,
        vec![
            column("vin", Kind::Text, |row: &Flood| style.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Flood| {
                row.unit_no.as_deref().map(|unit| style.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Flood| row.depot.clone()),
            column("model", Kind::Text, |row: &Flood| row.model.clone()),
            column("day", Kind::Day, |row: &Flood| row.day.clone()),
            column("codes", Kind::Integer, |row: &Flood| row.codes),
            column("modules", Kind::Integer, |row: &Flood| row.modules),
            column("supply_voltage_v", Kind::Number(2), |row: &Flood| {
                row.supply_voltage_v
            }),
            column("cause", Kind::Text, |row: &Flood| row.cause.clone()),
            column("p_value", Kind::Number(8), |row: &Flood| row.p_value),
            column("evidence", Kind::Text, |row: &Flood| row.because()),
        ],
    )
}
