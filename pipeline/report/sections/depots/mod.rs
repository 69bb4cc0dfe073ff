//! Depot by depot: what to do this week within its bays and budget.

pub mod room;

use minijinja::context;
use serde::Serialize;

use super::ranking::lines::{RankedLine, Trends};
use super::ranking::rows::{self, RiskRow};
use super::{Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use room::{Depot, Short};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking at each depot",
    templates: &[("depots.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Rows a depot's table shows; ranking.csv has all of them.
const DEPOT_ROWS: usize = 12;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let trends = Trends::new(rows::healths(reading).await?);
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let lines: Vec<DepotLines> = depots
        .iter()
        .map(|depot| DepotLines::new(depot, &trends, reading.style, DEPOT_ROWS))
        .collect();
    let part = reading.part("depots.md", context! { depots => lines })?;
    Ok(part.with_table(sheet(&depots)))
}

/// A depot as its section tells it.
#[derive(Debug, Serialize)]
pub struct DepotLines {
    pub depot: String,
    pub batteries: usize,
    pub this_week: usize,
    pub failed: usize,
    pub test_first: usize,
    pub next_service: usize,
    pub room: String,
    pub saving: f64,
    pub waiting: usize,
    pub waiting_worth: f64,
    pub short_of: Option<&'static str>,
    pub lines: Vec<RankedLine>,
    /// Batteries with something to do that the table leaves to the ranking's file.
    pub not_shown: usize,
}

impl DepotLines {
    /// With at most `shown` of the batteries that have something to do, in the order of what to do
    /// first.
    pub fn new(depot: &Depot<'_>, trends: &Trends, style: &ReportStyle, shown: usize) -> Self {
        let mut to_do: Vec<&RiskRow> = depot
            .rows
            .iter()
            .filter(|row| row.action != "leave")
            .copied()
            .collect();
        to_do.sort_by_key(|row| {
            let turn = match row.action.as_str() {
                "this week" => 0,
                "test first" => 1,
                "a later week" => 2,
                _ => 3,
            };
            (turn, row.rank)
        });
        let short_of = depot.short_of.map(Short::as_str);
        Self {
            depot: depot.name.to_owned(),
            batteries: depot.rows.len(),
            this_week: depot.of("this week"),
            failed: depot
                .rows
                .iter()
                .filter(|row| row.failed_on.is_some())
                .count(),
            test_first: depot.of("test first"),
            next_service: depot.of("next service"),
            room: depot.room(style),
            saving: depot.saving(),
            waiting: depot.waiting,
            waiting_worth: depot.waiting_worth,
            short_of,
            not_shown: to_do.len().saturating_sub(shown),
            lines: to_do
                .iter()
                .take(shown)
                .map(|row| RankedLine::new(row, short_of, trends, style))
                .collect(),
        }
    }
}

/// Each depot's limits, what this week's plan takes of them, and what waits.
fn sheet(rows: &[Depot<'_>]) -> Sheet {
    let count = |number: usize| number as f64;
    Sheet::new(
        "depots",
        rows,
        vec![
            column("depot", Kind::Text, |row: &Depot<'_>| row.name.to_owned()),
            column("batteries", Kind::Integer, |row: &Depot<'_>| {
                count(row.rows.len())
            }),
            column("this_week", Kind::Integer, |row: &Depot<'_>| {
                count(row.of("this week"))
            }),
            column("special_visits", Kind::Integer, |row: &Depot<'_>| {
                count(row.bays_taken)
            }),
            column("bays", Kind::Integer, |row: &Depot<'_>| count(row.bays)),
            column("cost", Kind::Money, |row: &Depot<'_>| row.spent),
            column("budget", Kind::Money, |row: &Depot<'_>| row.budget),
            column("saving", Kind::Money, |row: &Depot<'_>| row.saving()),
            column("test_first", Kind::Integer, |row: &Depot<'_>| {
                count(row.of("test first"))
            }),
            column("next_service", Kind::Integer, |row: &Depot<'_>| {
                count(row.of("next service"))
            }),
            column("would_pay_but_wait", Kind::Integer, |row: &Depot<'_>| {
                count(row.waiting)
            }),
            column("their_saving", Kind::Money, |row: &Depot<'_>| {
                row.waiting_worth
            }),
            column("wait_for", Kind::Text, |row: &Depot<'_>| {
                row.short_of.map(Short::as_str)
            }),
        ],
    )
}
