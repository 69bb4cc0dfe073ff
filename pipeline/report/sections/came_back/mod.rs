//! The orders whose trouble came back lately, on vehicles that came back once.

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, RECENT_DAYS, Reading, Section, YEAR_DAYS, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::word_or_none;
use trade::derived_words::Alike;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for trouble that came back",
    templates: &[("came_back.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let comebacks = comebacks(reading).await?;
    let recently = reading.since(RECENT_DAYS);
    let repeated = repeated(&comebacks, &reading.since(YEAR_DAYS));
    let recent: Vec<&Comeback> = comebacks
        .iter()
        .filter(|row| row.returned_on > recently)
        .collect();
    let of_others: Vec<&&Comeback> = recent
        .iter()
        .filter(|row| !repeated.contains_key(row.vin.as_str()))
        .collect();
    let part = reading.part(
        "came_back.md",
        context! {
            recently,
            comebacks => of_others.iter().take(LIST_ROWS).map(|row| ComebackLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_comebacks => of_others.len(),
            of_repeated => recent.len() - of_others.len(),
        },
    )?;
    Ok(part.with_table(sheet(&comebacks, reading.style)))
}

/// The orders, the newest return first.
pub async fn comebacks(reading: &Reading<'_>) -> Result<Vec<Comeback>, ReportError> {
    reading.rows(COMEBACKS).await
}

/// The vehicles that came back more than once since a day, each with its comebacks, the oldest first.
pub fn repeated<'a>(
    comebacks: &'a [Comeback],
    since: &str,
) -> BTreeMap<&'a str, Vec<&'a Comeback>> {
    let mut by_vehicle: BTreeMap<&str, Vec<&Comeback>> = BTreeMap::new();
    for row in comebacks
        .iter()
        .filter(|row| row.returned_on.as_str() > since)
    {
        by_vehicle.entry(&row.vin).or_default().push(row);
    }
    by_vehicle.retain(|_, rows| rows.len() > 1);
    for rows in by_vehicle.values_mut() {
        rows.sort_by(|a, b| (&a.closed_on, &a.order_no).cmp(&(&b.closed_on, &b.order_no)));
    }
    by_vehicle
}

const COMEBACKS: &str = "
    SELECT c.*, l.code IS NOT NULL AS code_stays
    FROM comeback c
    LEFT JOIN latched_code l ON l.latched AND l.make = c.make AND l.model = c.model
     AND l.module_address || ' ' || l.code = c.same_code
    WHERE c.came_back
    ORDER BY c.returned_on DESC, c.vin, c.order_no";

/// An order whose trouble came back.
#[derive(Debug, Deserialize)]
pub struct Comeback {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub shop: String,
    pub technician: Option<String>,
    pub operation: String,
    pub complaint: Option<String>,
    pub closed_on: String,
    pub return_order_no: String,
    pub returned_on: String,
    #[serde(deserialize_with = "word_or_none")]
    pub alike: Option<Alike>,
    pub same_code: Option<String>,
    pub same_group: Option<String>,
    /// The code is one that plain clears leave behind on this model.
    pub code_stays: bool,
    pub days: i64,
    pub km: Option<f64>,
    pub return_parts_cost: Option<f64>,
    pub return_labour_hours: Option<f64>,
    pub return_cost: Option<f64>,
}

impl Comeback {
    /// What the two orders have in common, with the code that came back where one did.
    pub fn alike_in(&self, style: &ReportStyle) -> String {
        // A code stands behind the address of its module, which somebody may have typed.
        let code = self
            .same_code
            .as_ref()
            .map(|same| match same.rsplit_once(' ') {
                Some((module, code)) => format!("{} {code}", style.module(module)),
                None => same.clone(),
            });
        let stays = match self.code_stays {
            true => ", which stays after a plain clear",
            false => "",
        };
        match (self.alike, code, &self.same_group) {
            (Some(Alike::CodeGroup), _, Some(group)) => format!("{}: {group}", Alike::CodeGroup),
            (Some(Alike::Code), Some(code), _) => format!("{}: {code}{stays}", Alike::Code),
            (Some(alike), Some(code), _) => format!("{alike}, code {code}{stays}"),
            (Some(alike), ..) => alike.to_string(),
            (None, ..) => String::new(),
        }
    }
}

#[derive(Debug, Serialize)]
struct ComebackLine {
    unit: String,
    shop: String,
    technician: Option<String>,
    operation: String,
    order: String,
    closed_on: String,
    return_order: String,
    returned_on: String,
    days: i64,
    km: Option<f64>,
    alike: String,
    complaint: Option<String>,
    cost: Option<f64>,
}

impl ComebackLine {
    fn new(row: &Comeback, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            shop: style.shop(&row.shop),
            technician: row.technician.as_deref().map(|name| style.technician(name)),
            operation: row.operation.clone(),
            order: style.order(&row.order_no),
            closed_on: row.closed_on.clone(),
            return_order: style.order(&row.return_order_no),
            returned_on: row.returned_on.clone(),
            days: row.days,
            km: row.km,
            alike: row.alike_in(style),
            complaint: row.complaint.as_deref().map(|said| style.typed(said)),
            cost: row.return_cost,
        }
    }
}

fn sheet(rows: &[Comeback], style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(
        style,
        |row: &Comeback| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Comeback| row.depot.clone()),
        column("model", Kind::Text, |row: &Comeback| row.model.clone()),
        column("order_no", Kind::Text, |row: &Comeback| {
            style.order(&row.order_no)
        }),
        column("shop", Kind::Text, |row: &Comeback| style.shop(&row.shop)),
        column("technician", Kind::Text, |row: &Comeback| {
            row.technician.as_deref().map(|name| style.technician(name))
        }),
        column("operation", Kind::Text, |row: &Comeback| {
            row.operation.clone()
        }),
        column("complaint", Kind::Text, |row: &Comeback| {
            row.complaint.as_deref().map(|said| style.typed(said))
        }),
        column("closed_on", Kind::Day, |row: &Comeback| {
            row.closed_on.clone()
        }),
        column("return_order_no", Kind::Text, |row: &Comeback| {
            style.order(&row.return_order_no)
        }),
        column("returned_on", Kind::Day, |row: &Comeback| {
            row.returned_on.clone()
        }),
        column("days", Kind::Integer, |row: &Comeback| row.days),
        column("km", Kind::Integer, |row: &Comeback| row.km),
        column("alike", Kind::Text, |row: &Comeback| row.alike_in(style)),
        column("return_parts_cost", Kind::Money, |row: &Comeback| {
            row.return_parts_cost
        }),
        column("return_labour_hours", Kind::Number(1), |row: &Comeback| {
            row.return_labour_hours
        }),
        column("return_cost", Kind::Money, |row: &Comeback| row.return_cost),
    ]);
    Sheet::new("comebacks-list", rows, columns)
}
