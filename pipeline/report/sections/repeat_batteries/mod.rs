//! Batteries replaced again under warranty.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section, YEAR_DAYS, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for batteries that came back",
    templates: &[("repeat_batteries.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let repeats = repeats(reading).await?;
    let this_year = reading.since(YEAR_DAYS);
    let of_year: Vec<&Repeat> = repeats
        .iter()
        .filter(|row| row.replaced_on > this_year)
        .collect();
    let part = reading.part(
        "repeat_batteries.md",
        context! {
            this_year,
            repeats => of_year.iter().take(LIST_ROWS).map(|row| RepeatLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_repeats => of_year.len(),
        },
    )?;
    Ok(part.with_table(sheet(&repeats, reading.style)))
}

/// The batteries, the newest first.
pub async fn repeats(reading: &Reading<'_>) -> Result<Vec<Repeat>, ReportError> {
    reading.rows(REPEATS).await
}

const REPEATS: &str = "
    SELECT * FROM repeat_battery ORDER BY replaced_on DESC, vin, position, order_no";

/// A battery replaced again under warranty.
#[derive(Debug, Deserialize)]
pub struct Repeat {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub position: String,
    pub order_no: String,
    pub replaced_on: String,
    pub shop: Option<String>,
    pub parts_cost: Option<f64>,
    pub before_order_no: String,
    pub before_on: String,
    pub days: i64,
}

#[derive(Debug, Serialize)]
struct RepeatLine {
    unit: String,
    model: Option<String>,
    position: String,
    before_on: String,
    before_order: String,
    replaced_on: String,
    order: String,
    days: i64,
    shop: Option<String>,
    parts_cost: Option<f64>,
}

impl RepeatLine {
    fn new(row: &Repeat, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            model: row.model.clone(),
            position: style.position(&row.position),
            before_order: style.order(&row.before_order_no),
            order: style.order(&row.order_no),
            before_on: row.before_on.clone(),
            replaced_on: row.replaced_on.clone(),
            days: row.days,
            shop: row.shop.as_deref().map(|shop| style.shop(shop)),
            parts_cost: row.parts_cost,
        }
    }
}

fn sheet(rows: &[Repeat], style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(style, |row: &Repeat| &row.vin, |row| row.unit_no.as_deref());
    columns.extend([
        column("depot", Kind::Text, |row: &Repeat| row.depot.clone()),
        column("model", Kind::Text, |row: &Repeat| row.model.clone()),
        column("position", Kind::Text, |row: &Repeat| {
            style.position(&row.position)
        }),
        column("before_order_no", Kind::Text, |row: &Repeat| {
            style.order(&row.before_order_no)
        }),
        column("before_on", Kind::Day, |row: &Repeat| row.before_on.clone()),
        column("order_no", Kind::Text, |row: &Repeat| {
            style.order(&row.order_no)
        }),
        column("replaced_on", Kind::Day, |row: &Repeat| {
            row.replaced_on.clone()
        }),
        column("days", Kind::Integer, |row: &Repeat| row.days),
        column("shop", Kind::Text, |row: &Repeat| {
            row.shop.as_deref().map(|shop| style.shop(shop))
        }),
        column("parts_cost", Kind::Money, |row: &Repeat| row.parts_cost),
    ]);
    Sheet::new("repeat-batteries", rows, columns)
}
