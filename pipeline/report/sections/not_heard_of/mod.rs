//! Vehicles that the register lacks without saying that they left: to be found, or taken off.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for vehicles that nobody hears of",
    templates: &[("not_heard_of.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let vehicles: Vec<Lost> = reading.rows(LOST).await?;
    let part = reading.part(
        "not_heard_of.md",
        context! {
            vehicles => vehicles.iter().take(LIST_ROWS).map(|row| LostLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_vehicles => vehicles.len(),
        },
    )?;
    Ok(part.with_table(sheet(&vehicles, reading.style)))
}

const LOST: &str = "
    SELECT * FROM vehicle_not_heard_of ORDER BY last_heard_on DESC, vin";

/// A vehicle that is not heard of.
#[derive(Debug, Deserialize)]
struct Lost {
    vin: String,
    unit_no: Option<String>,
    depot: Option<String>,
    make: Option<String>,
    model: Option<String>,
    last_seen_on: Option<String>,
    last_heard_on: Option<String>,
    exports_missed: Option<i64>,
}

#[derive(Debug, Serialize)]
struct LostLine {
    unit: String,
    depot: Option<String>,
    model: String,
    last_seen_on: Option<String>,
    last_heard_on: Option<String>,
    exports_missed: Option<i64>,
}

impl LostLine {
    fn new(row: &Lost, style: &ReportStyle) -> Self {
        let words: Vec<&str> = [&row.make, &row.model]
            .into_iter()
            .filter_map(|word| word.as_deref())
            .collect();
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            model: words.join(" "),
            last_seen_on: row.last_seen_on.clone(),
            last_heard_on: row.last_heard_on.clone(),
            exports_missed: row.exports_missed,
        }
    }
}

fn sheet(rows: &[Lost], style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(style, |row: &Lost| &row.vin, |row| row.unit_no.as_deref());
    columns.extend([
        column("depot", Kind::Text, |row: &Lost| row.depot.clone()),
        column("make", Kind::Text, |row: &Lost| row.make.clone()),
        column("model", Kind::Text, |row: &Lost| row.model.clone()),
        column("last_in_register_on", Kind::Day, |row: &Lost| {
            row.last_seen_on.clone()
        }),
        column("last_heard_on", Kind::Day, |row: &Lost| {
            row.last_heard_on.clone()
        }),
        column("exports_missed", Kind::Integer, |row: &Lost| {
            row.exports_missed
        }),
    ]);
    Sheet::new("not-heard-of", rows, columns)
}
