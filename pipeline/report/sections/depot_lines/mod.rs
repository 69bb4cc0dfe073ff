//! Depot by depot: battery by battery what to do, the first to do first.

use minijinja::context;
use serde::Serialize;

use super::depots::room::{self, Depot, Short};
use super::ranking::lines::{self, RankedLine, Trends};
use super::ranking::rows::{self, RiskRow};
use super::{Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking at each depot's batteries",
    templates: &[("depot_lines.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Rows a depot's table shows; ranking.csv has all of them.
const DEPOT_ROWS: usize = 12;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let trends = lines::trends(reading).await?;
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let lines: Vec<DepotLines> = depots
        .iter()
        .map(|depot| DepotLines::new(depot, &trends, reading.style, DEPOT_ROWS))
        .collect();
    reading.part("depot_lines.md", context! { depots => lines })
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
