//! Floods of a shop, a model or a time beyond chance.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section};
use crate::ReportError;
use crate::cells;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for floods out of the ordinary",
    templates: &[("flood_oddities.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let oddities: Vec<Oddity> = reading.rows(ODDITIES).await?;
    let part = reading.part(
        "flood_oddities.md",
        context! {
            oddities => oddities.iter().take(LIST_ROWS).map(|row| OddityLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_oddities => oddities.len(),
        },
    )?;
    Ok(part.with_table(sheet(&oddities, reading.style)))
}

const ODDITIES: &str = "
    SELECT * FROM flood_oddity WHERE odd ORDER BY adjusted, kind, unit, from_on, cause";

/// Floods of a shop, model or time beyond chance.
#[derive(Debug, Deserialize)]
struct Oddity {
    pub kind: String,
    pub unit: String,
    pub from_on: Option<String>,
    pub to_on: Option<String>,
    pub cause: String,
    pub floods: i64,
    pub expected: Option<f64>,
    pub adjusted: Option<f64>,
}

impl Oddity {
    /// The shop, model or week.
    fn unit(&self, style: &ReportStyle) -> String {
        match self.kind.starts_with("shop") {
            true => style.shop(&self.unit),
            false => self.unit.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct OddityLine {
    what: String,
    cause: String,
    floods: i64,
    expected: Option<f64>,
    chance: String,
}

impl OddityLine {
    fn new(row: &Oddity, style: &ReportStyle) -> Self {
        let when = match (&row.from_on, &row.to_on) {
            (Some(from), Some(to)) => format!(", {from} to {to}"),
            _ => String::new(),
        };
        let unit = row.unit(style);
        let kind = row.kind.trim_end_matches(" in four weeks");
        Self {
            what: match kind {
                "week" => format!("{unit}{when}"),
                _ => format!("{kind} {unit}{when}"),
            },
            cause: row.cause.clone(),
            floods: row.floods,
            expected: row.expected,
            chance: cells::chance(row.adjusted.unwrap_or(1.0)),
        }
    }
}

fn sheet(rows: &[Oddity], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "flood-oddities",
        rows,
        vec![
            column("kind", Kind::Text, |row: &Oddity| row.kind.clone()),
            column("unit", Kind::Text, |row: &Oddity| row.unit(style)),
            column("from_on", Kind::Day, |row: &Oddity| row.from_on.clone()),
            column("to_on", Kind::Day, |row: &Oddity| row.to_on.clone()),
            column("cause", Kind::Text, |row: &Oddity| row.cause.clone()),
            column("floods", Kind::Integer, |row: &Oddity| row.floods),
            column("expected", Kind::Number(1), |row: &Oddity| row.expected),
            column("chance_adjusted", Kind::Number(6), |row: &Oddity| {
                row.adjusted
            }),
        ],
    )
}
