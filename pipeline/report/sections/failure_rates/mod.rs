//! Failure rates of the last 52 weeks, and which cohorts fail at other ages.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::chart::{self, Chart, Interval};
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "working out failure rates",
    templates: &[("failure_rates.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// The most groups one chart of rates shows.
const RATE_GROUPS: usize = 16;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let mut rates: Vec<Rate> = reading.rows(RATES).await?;
    for row in &mut rates {
        row.cohort = reading.cohort(&row.cohort_kind, &row.cohort);
    }
    let differences: Vec<Difference> = reading.rows(DIFFERENCES).await?;
    let charts: Vec<Chart> = ["depot", "model"]
        .iter()
        .filter_map(|kind| rate_chart(kind, &rates))
        .collect();
    let part = reading.part(
        "failure_rates.md",
        context! {
            alike => alike(&rates),
            evened => rates.iter().filter(|rate| !matches!(rate.cohort_kind.as_str(), "fleet" | "depot" | "model")).any(|rate| rate.own_weight.is_some_and(|weight| weight > 0.0)),
            rate_charts => super::named(&charts),
            rates, differences,
        },
    )?;
    Ok(part.with_charts(charts).with_table(sheet(&rates)))
}

pub const RATES: &str = "
    SELECT cohort_kind, cohort, batteries, failures, battery_months, failures_per_1000_months,
           lower, upper, shrunk_rate, own_weight, expected_failures, ratio, ratio_lower, ratio_upper,
           ratio_adjusted_p, stands_out
    FROM failure_rate
    WHERE period = 'last 52 weeks'
      AND cohort_kind IN ('fleet', 'chemistry', 'battery group', 'powertrain', 'heat', 'depot', 'model')
    ORDER BY CASE cohort_kind WHEN 'fleet' THEN 0 WHEN 'chemistry' THEN 1 WHEN 'battery group' THEN 2
                              WHEN 'powertrain' THEN 3 WHEN 'heat' THEN 4 WHEN 'depot' THEN 5 ELSE 6 END,
             failures_per_1000_months DESC NULLS LAST, cohort";

/// A cohort's failure rate over the last 52 weeks.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Rate {
    pub cohort_kind: String,
    pub cohort: String,
    pub batteries: i64,
    pub failures: i64,
    pub battery_months: f64,
    pub failures_per_1000_months: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// Drawn towards those of its kind, so that a thin cohort does not top a table.
    pub shrunk_rate: Option<f64>,
    /// How much its own count says against the others of its kind; nought where the kind spreads no
    /// wider than chance.
    pub own_weight: Option<f64>,
    /// What the fleet's rates make of the ages of its batteries, and what came over that.
    pub expected_failures: Option<f64>,
    pub ratio: Option<f64>,
    pub ratio_lower: Option<f64>,
    pub ratio_upper: Option<f64>,
    pub ratio_adjusted_p: Option<f64>,
    pub stands_out: Option<bool>,
}

pub const DIFFERENCES: &str = "
    SELECT cohort_kind, cohorts, failures, adjusted_p FROM cohort_difference
    WHERE adjusted_p <= $cohort_false_share ORDER BY adjusted_p, cohort_kind";

/// A kind of cohort whose batteries fail at ages that differ beyond chance.
#[derive(Debug, Deserialize, Serialize)]
pub struct Difference {
    pub cohort_kind: String,
    pub cohorts: f64,
    pub failures: f64,
    pub adjusted_p: f64,
}

/// The kinds of cohorts in the table of rates that spread no wider than chance makes them.
fn alike(rates: &[Rate]) -> Vec<&str> {
    rates
        .chunk_by(|a, b| a.cohort_kind == b.cohort_kind)
        .filter(|kind| kind.len() > 1 && !matches!(kind[0].cohort_kind.as_str(), "depot" | "model"))
        .filter(|kind| kind.iter().all(|rate| rate.own_weight == Some(0.0)))
        .map(|kind| kind[0].cohort_kind.as_str())
        .collect()
}

/// Failure rates of one kind of cohort with their limits, against the fleet's.
pub fn rate_chart(kind: &str, rates: &[Rate]) -> Option<Chart> {
    let overall = rates
        .iter()
        .find(|rate| rate.cohort_kind == "fleet")
        .and_then(|rate| rate.failures_per_1000_months);
    let groups: Vec<Interval> = rates
        .iter()
        .filter(|rate| rate.cohort_kind == kind)
        .filter_map(|rate| {
            Some(Interval {
                name: rate.cohort.clone(),
                value: rate.failures_per_1000_months?,
                lower: rate.lower?,
                upper: rate.upper?,
            })
        })
        .take(RATE_GROUPS)
        .collect();
    chart::intervals(
        &format!("rate-by-{}", kind.to_lowercase()),
        &format!("failures per 1,000 battery-months by {kind}"),
        overall,
        &groups,
    )
}

/// Failure rates of the last 52 weeks.
fn sheet(rows: &[Rate]) -> Sheet {
    Sheet::new(
        "failure_rates",
        rows,
        vec![
            column("cohort_kind", Kind::Text, |row: &Rate| {
                row.cohort_kind.clone()
            }),
            column("cohort", Kind::Text, |row: &Rate| row.cohort.clone()),
            column("batteries", Kind::Integer, |row: &Rate| row.batteries),
            column("failures", Kind::Integer, |row: &Rate| row.failures),
            column("battery_months", Kind::Number(1), |row: &Rate| {
                row.battery_months
            }),
            column("failures_per_1000_months", Kind::Number(2), |row: &Rate| {
                row.failures_per_1000_months
            }),
            column("lower", Kind::Number(2), |row: &Rate| row.lower),
            column("upper", Kind::Number(2), |row: &Rate| row.upper),
            column("evened_out", Kind::Number(2), |row: &Rate| row.shrunk_rate),
            column("expected_failures", Kind::Number(2), |row: &Rate| {
                row.expected_failures
            }),
            column("ratio", Kind::Number(2), |row: &Rate| row.ratio),
            column("ratio_lower", Kind::Number(2), |row: &Rate| row.ratio_lower),
            column("ratio_upper", Kind::Number(2), |row: &Rate| row.ratio_upper),
            column("ratio_adjusted_p", Kind::Number(4), |row: &Rate| {
                row.ratio_adjusted_p
            }),
            column("stands_out", Kind::Flag, |row: &Rate| row.stands_out),
        ],
    )
}
