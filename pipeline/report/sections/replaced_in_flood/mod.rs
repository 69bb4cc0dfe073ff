//! Parts replaced while a flood of codes spoke for another cause.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section, YEAR_DAYS, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for floods and what was done about them",
    templates: &[("replaced_in_flood.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let replaced = replaced(reading).await?;
    let this_year = reading.since(YEAR_DAYS);
    let of_year: Vec<&Replaced> = replaced
        .iter()
        .filter(|row| row.opened_on > this_year)
        .collect();
    let part = reading.part(
        "replaced_in_flood.md",
        context! {
            this_year,
            replaced => of_year.iter().take(LIST_ROWS).map(|row| ReplacedLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_replaced => of_year.len(),
        },
    )?;
    Ok(part.with_table(sheet(&replaced, reading.style)))
}

/// The parts, the newest first.
pub async fn replaced(reading: &Reading<'_>) -> Result<Vec<Replaced>, ReportError> {
    reading.rows(REPLACED).await
}

const REPLACED: &str = "
    SELECT * FROM replaced_in_flood ORDER BY opened_on DESC, vin, order_no, replaced";

/// A part replaced while a flood spoke for another cause.
#[derive(Debug, Deserialize)]
pub struct Replaced {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub opened_on: String,
    pub shop: Option<String>,
    pub technician: Option<String>,
    pub replaced: String,
    pub place: Option<String>,
    pub parts_cost: Option<f64>,
    pub flood_cause: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub put_right_on: Option<String>,
}

impl Replaced {
    /// Which module or battery it was.
    pub fn place(&self, style: &ReportStyle) -> Option<String> {
        let place = self.place.as_deref()?;
        Some(match self.replaced.as_str() {
            "module" => style.module(place),
            _ => style.position(place),
        })
    }
}

#[derive(Debug, Serialize)]
struct ReplacedLine {
    unit: String,
    model: Option<String>,
    opened_on: String,
    shop: Option<String>,
    replaced: String,
    parts_cost: Option<f64>,
    flood: String,
    put_right_on: Option<String>,
}

impl ReplacedLine {
    fn new(row: &Replaced, style: &ReportStyle) -> Self {
        let supply = row
            .supply_voltage_v
            .map(|volts| format!(", {volts:.1} V"))
            .unwrap_or_default();
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            model: row.model.clone(),
            opened_on: row.opened_on.clone(),
            shop: row.shop.as_deref().map(|shop| style.shop(shop)),
            replaced: format!("{} {}", row.replaced, row.place(style).unwrap_or_default()),
            parts_cost: row.parts_cost,
            flood: format!(
                "{}: {} codes in {} modules{supply}",
                row.flood_cause, row.codes, row.modules
            ),
            put_right_on: row.put_right_on.clone(),
        }
    }
}

fn sheet(rows: &[Replaced], style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(
        style,
        |row: &Replaced| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Replaced| row.depot.clone()),
        column("model", Kind::Text, |row: &Replaced| row.model.clone()),
        column("order_no", Kind::Text, |row: &Replaced| {
            style.order(&row.order_no)
        }),
        column("opened_on", Kind::Day, |row: &Replaced| {
            row.opened_on.clone()
        }),
        column("shop", Kind::Text, |row: &Replaced| {
            row.shop.as_deref().map(|shop| style.shop(shop))
        }),
        column("technician", Kind::Text, |row: &Replaced| {
            row.technician.as_deref().map(|name| style.technician(name))
        }),
        column("replaced", Kind::Text, |row: &Replaced| {
            row.replaced.clone()
        }),
        column("place", Kind::Text, |row: &Replaced| row.place(style)),
        column("parts_cost", Kind::Money, |row: &Replaced| row.parts_cost),
        column("flood_cause", Kind::Text, |row: &Replaced| {
            row.flood_cause.clone()
        }),
        column("codes", Kind::Integer, |row: &Replaced| row.codes),
        column("modules", Kind::Integer, |row: &Replaced| row.modules),
        column("supply_voltage_v", Kind::Number(2), |row: &Replaced| {
            row.supply_voltage_v
        }),
        column("put_right_on", Kind::Day, |row: &Replaced| {
            row.put_right_on.clone()
        }),
    ]);
    Sheet::new("replaced-in-flood", rows, columns)
}
