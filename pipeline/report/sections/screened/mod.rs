//! Every line of the list with its answer, a line each: on the page, to print, and as a file.

use minijinja::context;
use serde::Serialize;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::page::Paper;
use crate::screen::judged::{Answer, Judged};
use crate::section::Page;
use crate::table_files::{Column, Kind, Sheet, column};

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[
        ("screened.md", include_str!("section.md")),
        ("screened-page.md", include_str!("page.md")),
    ],
    make: |reading| Box::pin(make(reading)),
};

/// The buyer's own columns that the page has room for; the files have all.
const OWN_COLUMNS: usize = 4;

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let judged = reading.about;
    let shown = OWN_COLUMNS.min(judged.columns.len());
    let content = context! {
        columns => &judged.columns[..shown],
        lines => judged.answers.iter().map(|answer| Line::new(answer, shown)).collect::<Vec<_>>(),
        by_price => judged.answers.iter().any(|answer| answer.of_price().is_some()),
    };
    let page = Page {
        name: "screen_lines",
        title: format!("12 V screening, {}", reading.analysis.as_of()),
        markdown: reading.text("screened-page.md", content.clone())?,
        paper: Paper::Lines,
    };
    let part = reading.part("screened.md", content)?;
    Ok(part.with_table(sheet(judged)).with_page(page))
}

/// A line as the page has it.
#[derive(Debug, Serialize)]
struct Line<'a> {
    line: u64,
    own: Vec<&'a str>,
    called: &'a str,
    vin: &'a str,
    kind: Option<&'a str>,
    disposition: &'a str,
    expected: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    of_price: Option<f64>,
    settle: &'a str,
}

impl<'a> Line<'a> {
    fn new(answer: &'a Answer, own: usize) -> Self {
        let vehicle = &answer.vehicle;
        Self {
            line: answer.line,
            own: (0..own)
                .map(|at| answer.own.get(at).map_or("", String::as_str))
                .collect(),
            called: answer.called(),
            vin: &vehicle.vin,
            kind: vehicle.kind.as_deref(),
            disposition: vehicle.disposition,
            expected: vehicle.cost.map(|cost| cost.expected),
            lower: vehicle.cost.map(|cost| cost.lower),
            upper: vehicle.cost.map(|cost| cost.upper),
            of_price: answer.of_price(),
            settle: match (answer.is_vehicle, vehicle.check.as_deref()) {
                (true, Some(check)) => check,
                (true, None) => "none needed",
                (false, _) => &vehicle.reason,
            },
        }
    }
}

fn sheet(judged: &Judged) -> Sheet {
    let mut columns: Vec<Column<'_, Answer>> = Vec::new();
    for (at, name) in judged.columns.iter().enumerate() {
        columns.push(column(name.clone(), Kind::Text, move |row: &Answer| {
            row.own.get(at).cloned()
        }));
    }
    columns.extend([
        column("line", Kind::Integer, |row: &Answer| row.line as i64),
        column("vin", Kind::Text, |row: &Answer| row.vehicle.vin.clone()),
        column("unit_no", Kind::Text, |row: &Answer| {
            row.vehicle.unit.clone()
        }),
        column("vehicle", Kind::Text, |row: &Answer| {
            row.vehicle.kind.clone()
        }),
        column("disposition", Kind::Text, |row: &Answer| {
            row.vehicle.disposition
        }),
        column("reason", Kind::Text, |row: &Answer| {
            row.vehicle.reason.clone()
        }),
        column("expected_cost", Kind::Money, |row: &Answer| {
            row.vehicle.cost.map(|cost| cost.expected)
        }),
        column("cost_lower", Kind::Money, |row: &Answer| {
            row.vehicle.cost.map(|cost| cost.lower)
        }),
        column("cost_upper", Kind::Money, |row: &Answer| {
            row.vehicle.cost.map(|cost| cost.upper)
        }),
        column("share_of_asking_price", Kind::Share, Answer::of_price),
        column("battery_age", Kind::Text, |row: &Answer| {
            row.vehicle.age.clone()
        }),
        column("battery_test", Kind::Text, |row: &Answer| {
            row.vehicle.battery.clone()
        }),
        column("flood", Kind::Text, |row: &Answer| {
            row.vehicle.flood.clone()
        }),
        column("codes", Kind::Text, |row: &Answer| {
            row.vehicle.codes.clone()
        }),
        column("traction_battery", Kind::Text, |row: &Answer| {
            row.vehicle.traction.clone()
        }),
        column("missing", Kind::Text, |row: &Answer| {
            row.vehicle.missing.clone()
        }),
        column("check_that_settles_most", Kind::Text, |row: &Answer| {
            row.vehicle.check.clone()
        }),
    ]);
    Sheet::new("screening", &judged.answers, columns)
}
