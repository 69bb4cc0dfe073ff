//! Vehicles that came back more than once in a year, each named once with all of its comebacks.

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::came_back::{self, Comeback};
use super::{LIST_ROWS, Part, Reading, Section, YEAR_DAYS};
use crate::style::ReportStyle;
use crate::words::{self, word_or_none};
use crate::{ReportError, cells};
use trade::derived_words::RecoveryStep;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for vehicles that keep coming back",
    templates: &[("repeat_vehicles.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let comebacks = came_back::comebacks(reading).await?;
    let open: Vec<Open> = reading.rows(OPEN).await?;
    let open: BTreeMap<&str, &Open> = open.iter().map(|row| (row.vin.as_str(), row)).collect();
    let this_year = reading.since(YEAR_DAYS);
    let mut vehicles: Vec<RepeatVehicle> = came_back::repeated(&comebacks, &this_year)
        .into_iter()
        .map(|(vin, rows)| RepeatVehicle::new(&rows, open.get(vin).copied(), reading))
        .collect();
    vehicles.sort_by(|a, b| {
        b.times
            .cmp(&a.times)
            .then(b.cost.total_cmp(&a.cost))
            .then(a.unit.cmp(&b.unit))
    });
    reading.part(
        "repeat_vehicles.md",
        context! {
            this_year,
            all_vehicles => vehicles.len(),
            vehicles => vehicles.into_iter().take(LIST_ROWS).collect::<Vec<_>>(),
        },
    )
}

const OPEN: &str = "
    SELECT vin, MIN(opened_on) AS opened_on, MIN(next_step) AS next_step
    FROM recovery_case WHERE open GROUP BY vin";

/// A recovery that stands open.
#[derive(Debug, Deserialize)]
struct Open {
    vin: String,
    opened_on: String,
    #[serde(deserialize_with = "word_or_none")]
    next_step: Option<RecoveryStep>,
}

#[derive(Debug, Serialize)]
struct RepeatVehicle {
    unit: String,
    model: Option<String>,
    times: usize,
    cost: f64,
    story: String,
    next_step: String,
}

impl RepeatVehicle {
    fn new(rows: &[&Comeback], open: Option<&Open>, reading: &Reading<'_>) -> Self {
        let style = reading.style;
        let first = rows.first();
        let story: Vec<String> = rows.iter().map(|row| told(row, style)).collect();
        let proven_days = reading.analysis.settings().recovery.proven_days;
        let code_stays = rows.iter().any(|row| row.code_stays);
        let mut next: Vec<String> = Vec::new();
        if let Some(open) = open {
            let step = open
                .next_step
                .map(|step| words::recovery::step(step, proven_days));
            next.push(format!(
                "recovery open since {}{}",
                open.opened_on,
                step.map(|step| format!(": {step}")).unwrap_or_default()
            ));
        }
        if code_stays {
            next.push("look for the maker's protected procedure".to_owned());
        }
        Self {
            unit: first.map_or_else(String::new, |row| {
                style.vehicle(row.unit_no.as_deref(), &row.vin)
            }),
            model: first.and_then(|row| row.model.clone()),
            times: rows.len(),
            cost: rows.iter().filter_map(|row| row.return_cost).sum(),
            story: story.join("; "),
            next_step: next.join("; "),
        }
    }
}

/// "2026-01-10 battery charged at North (order A1), back after 11 days on order A2, same complaint".
fn told(row: &Comeback, style: &ReportStyle) -> String {
    let alike = row.alike_in(style);
    format!(
        "{} {} at {} (order {}), back after {} on order {}{}",
        row.closed_on,
        row.operation,
        style.shop(&row.shop),
        style.order(&row.order_no),
        cells::counted(row.days.max(0) as usize, "day", "days"),
        style.order(&row.return_order_no),
        match alike.is_empty() {
            true => String::new(),
            false => format!(", {alike}"),
        }
    )
}
