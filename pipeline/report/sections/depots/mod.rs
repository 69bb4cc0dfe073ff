//! The depots side by side: what this week's plan takes of the bays and the budget of each.

pub mod room;

use minijinja::context;
use serde::Serialize;

use super::ranking::rows;
use super::{Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use room::{Depot, Short};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking at the depots",
    templates: &[("depots.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Depots the table shows; depots.csv has all of them.
const DEPOTS: usize = 10;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let mut busy: Vec<&Depot> = depots
        .iter()
        .filter(|depot| depot.of("this week") + depot.of("test first") + depot.waiting > 0)
        .collect();
    busy.sort_by(|a, b| b.saving().total_cmp(&a.saving()).then(a.name.cmp(b.name)));
    let lines: Vec<DepotLine> = busy
        .iter()
        .take(DEPOTS)
        .map(|depot| DepotLine::new(depot, reading.style))
        .collect();
    let part = reading.part(
        "depots.md",
        context! {
            any_tests => lines.iter().any(|line| line.test_first > 0),
            any_waits => lines.iter().any(|line| line.waiting > 0),
            depots => lines,
            busy => busy.len(),
            all_depots => depots.len(),
        },
    )?;
    Ok(part.with_table(sheet(&depots)))
}

/// A depot as a line of the table.
#[derive(Debug, Serialize)]
struct DepotLine {
    depot: String,
    batteries: usize,
    this_week: usize,
    test_first: usize,
    next_service: usize,
    room: String,
    saving: f64,
    waiting: usize,
    short_of: Option<&'static str>,
}

impl DepotLine {
    fn new(depot: &Depot<'_>, style: &ReportStyle) -> Self {
        Self {
            depot: depot.name.to_owned(),
            batteries: depot.rows.len(),
            this_week: depot.of("this week"),
            test_first: depot.of("test first"),
            next_service: depot.of("next service"),
            room: depot.room(style),
            saving: depot.saving(),
            waiting: depot.waiting,
            short_of: depot.short_of.map(Short::as_str),
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
