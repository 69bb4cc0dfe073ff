//! How often trouble comes back, by shop, technician, model and operation, against chance and against
//! the year before.

mod funnels;

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::comeback_months::{self, Month, named};
use super::{Part, Reading, Section, Share, with_limits};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for trouble that came back",
    templates: &[("comeback_rates.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Rows of a kind of unit.
const UNIT_ROWS: usize = 30;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let rates = rates(reading).await?;
    let months = comeback_months::months(reading).await?;
    let quarters = Quarters::new(&months);
    let charts = funnels::funnels(&rates, reading.style);
    let units: Vec<_> = ["shop", "technician", "model", "operation"]
        .iter()
        .map(|kind| {
            let of_kind: Vec<&ComebackRate> =
                rates.iter().filter(|row| row.kind == *kind).collect();
            let chart = charts
                .iter()
                .find(|chart| chart.name == funnels::name(kind))
                .map(|chart| context! { path => chart.path(), alternative => chart.alternative });
            context! {
                kind,
                units => of_kind.len(),
                outside => of_kind.iter().any(|row| row.outside().is_some()),
                by_quarter => *kind != "model",
                lines => of_kind.iter().take(UNIT_ROWS).map(|row| RateLine::new(row, &quarters, reading.style)).collect::<Vec<_>>(),
                chart,
            }
        })
        .collect();
    let overall = overall(reading).await?;
    let part = reading.part(
        "comeback_rates.md",
        context! { units, orders => overall.map_or(0, |overall| overall.orders) },
    )?;
    Ok(part
        .with_charts(charts)
        .with_table(sheet(&rates, reading.style)))
}

/// All orders of the period.
pub async fn overall(reading: &Reading<'_>) -> Result<Option<Overall>, ReportError> {
    Ok(reading.rows(OVERALL).await?.into_iter().next())
}

/// Each unit, the one with most orders first.
pub async fn rates(reading: &Reading<'_>) -> Result<Vec<ComebackRate>, ReportError> {
    reading
        .rows("SELECT * FROM comeback_rate ORDER BY kind, orders DESC, unit, technician")
        .await
}

const OVERALL: &str = "
    SELECT orders, comebacks, return_cost, from_on, to_on, orders_before, comebacks_before,
           share_limits(comebacks, orders) AS share, share_limits(comebacks_before, orders_before) AS share_before
    FROM (
        SELECT COALESCE(SUM(now), 0) AS orders, COALESCE(SUM(now * back), 0) AS comebacks,
               COALESCE(SUM(1 - now), 0) AS orders_before, COALESCE(SUM((1 - now) * back), 0) AS comebacks_before,
               SUM(now * return_cost) AS return_cost,
               day_plus($as_of, 1 - $comeback_late_days - $rate_days) AS from_on,
               day_plus($as_of, -$comeback_late_days) AS to_on
        FROM (
            SELECT CASE WHEN days < $comeback_late_days + $rate_days THEN 1 ELSE 0 END AS now, back, return_cost
            FROM (
                SELECT days_between(closed_on, $as_of) AS days, CASE WHEN came_back THEN 1 ELSE 0 END AS back, return_cost
                FROM comeback WHERE followed
            )
            WHERE days < $comeback_late_days + 2 * $rate_days
        )
    )";

/// All orders that were followed long enough, of the period and of as long a time before.
#[derive(Debug, Deserialize, Serialize)]
pub struct Overall {
    pub orders: i64,
    pub comebacks: i64,
    pub return_cost: Option<f64>,
    pub from_on: String,
    pub to_on: String,
    pub orders_before: i64,
    pub share: Option<Share>,
    pub share_before: Option<Share>,
}

/// How often a unit's orders came back.
#[derive(Debug, Clone, Deserialize)]
pub struct ComebackRate {
    pub kind: String,
    pub unit: String,
    pub technician: Option<String>,
    pub orders: i64,
    pub comebacks: i64,
    pub comebacks_soon: i64,
    pub share: Option<f64>,
    pub share_lower: Option<f64>,
    pub share_upper: Option<f64>,
    pub expected: Option<f64>,
    pub adjusted_share: Option<f64>,
    pub overall_share: Option<f64>,
    pub adjusted: Option<f64>,
    pub return_cost: Option<f64>,
    pub orders_before: Option<i64>,
    pub comebacks_before: Option<i64>,
    /// Its share over that of the year before; a limit that the counts leave open is none.
    pub change_ratio: Option<f64>,
    pub change_lower: Option<f64>,
    pub change_upper: Option<f64>,
}

impl ComebackRate {
    /// Beyond what chance leaves, with all units of the kind looked at: more or fewer than expected.
    pub fn outside(&self) -> Option<bool> {
        let beyond = self.adjusted.is_some_and(|adjusted| adjusted <= 0.05);
        beyond.then(|| self.comebacks as f64 > self.expected.unwrap_or(0.0))
    }

    /// What it is called.
    pub fn unit(&self, style: &ReportStyle) -> String {
        named(&self.kind, &self.unit, self.technician.as_deref(), style)
    }

    /// "1.4 times (0.6–3.3)".
    fn change(&self) -> String {
        match (self.change_ratio, self.change_lower, self.change_upper) {
            (Some(ratio), Some(lower), Some(upper)) => {
                format!("{ratio:.1} times ({lower:.1}–{upper:.1})")
            }
            _ => "not known".to_owned(),
        }
    }
}

/// The orders and comebacks of each unit in each quarter of 13 weeks, the newest 1.
struct Quarters<'a>(BTreeMap<UnitQuarter<'a>, (i64, i64)>);

/// A kind, a unit of it, its technician where it is of one, and the quarter.
type UnitQuarter<'a> = (&'a str, &'a str, Option<&'a str>, i64);

impl<'a> Quarters<'a> {
    fn new(months: &'a [Month]) -> Self {
        let mut quarters = BTreeMap::new();
        for month in months {
            // Twelve months make four quarters; the thirteenth is left out.
            let quarter = (month.month_no - 1) / 3;
            let Some(unit) = month.unit.as_deref().filter(|_| quarter < 4) else {
                continue;
            };
            let key = (
                month.kind.as_str(),
                unit,
                month.technician.as_deref(),
                quarter,
            );
            let (orders, comebacks) = quarters.entry(key).or_insert((0, 0));
            *orders += month.orders;
            *comebacks += month.comebacks;
        }
        Self(quarters)
    }

    /// "3 of 40, 2 of 38, 6 of 45, 4 of 41", the oldest first.
    fn of(&self, row: &ComebackRate) -> String {
        let quarter = |quarter: i64| {
            let key = (
                row.kind.as_str(),
                row.unit.as_str(),
                row.technician.as_deref(),
                quarter,
            );
            match self.0.get(&key) {
                Some((orders, comebacks)) => format!("{comebacks} of {orders}"),
                None => "none".to_owned(),
            }
        };
        [3, 2, 1, 0].map(quarter).join(", ")
    }
}

#[derive(Debug, Serialize)]
struct RateLine {
    unit: String,
    orders: i64,
    comebacks: i64,
    comebacks_soon: i64,
    share: String,
    expected: Option<f64>,
    adjusted_share: Option<f64>,
    cost: Option<f64>,
    quarters: String,
    change: String,
    stands: &'static str,
}

impl RateLine {
    fn new(row: &ComebackRate, quarters: &Quarters<'_>, style: &ReportStyle) -> Self {
        Self {
            unit: row.unit(style),
            orders: row.orders,
            comebacks: row.comebacks,
            comebacks_soon: row.comebacks_soon,
            share: with_limits(row.share, row.share_lower, row.share_upper),
            expected: row.expected,
            adjusted_share: row.adjusted_share,
            cost: row.return_cost,
            quarters: quarters.of(row),
            change: row.change(),
            stands: match row.outside() {
                Some(true) => "more than chance",
                Some(false) => "fewer than chance",
                None => "within chance",
            },
        }
    }
}

fn sheet(rows: &[ComebackRate], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "comeback-rates",
        rows,
        vec![
            column("kind", Kind::Text, |row: &ComebackRate| row.kind.clone()),
            column("unit", Kind::Text, |row: &ComebackRate| row.unit(style)),
            column("orders", Kind::Integer, |row: &ComebackRate| row.orders),
            column("comebacks", Kind::Integer, |row: &ComebackRate| {
                row.comebacks
            }),
            column("comebacks_soon", Kind::Integer, |row: &ComebackRate| {
                row.comebacks_soon
            }),
            column("share", Kind::Share, |row: &ComebackRate| row.share),
            column("share_lower", Kind::Share, |row: &ComebackRate| {
                row.share_lower
            }),
            column("share_upper", Kind::Share, |row: &ComebackRate| {
                row.share_upper
            }),
            column("expected", Kind::Number(1), |row: &ComebackRate| {
                row.expected
            }),
            column("adjusted_share", Kind::Share, |row: &ComebackRate| {
                row.adjusted_share
            }),
            column("chance_adjusted", Kind::Number(4), |row: &ComebackRate| {
                row.adjusted
            }),
            column("return_cost", Kind::Money, |row: &ComebackRate| {
                row.return_cost
            }),
            column("orders_before", Kind::Integer, |row: &ComebackRate| {
                row.orders_before
            }),
            column("comebacks_before", Kind::Integer, |row: &ComebackRate| {
                row.comebacks_before
            }),
            column("change_ratio", Kind::Number(2), |row: &ComebackRate| {
                row.change_ratio
            }),
            column("change_lower", Kind::Number(2), |row: &ComebackRate| {
                row.change_lower
            }),
            column("change_upper", Kind::Number(2), |row: &ComebackRate| {
                row.change_upper
            }),
        ],
    )
}
