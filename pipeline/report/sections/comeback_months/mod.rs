//! How often trouble came back, month by month.

use chrono::NaiveDate;
use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section, with_limits};
use crate::ReportError;
use crate::chart::{self, BandPoint, Trend};
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "following comebacks over the year",
    templates: &[("comeback_months.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let months = months(reading).await?;
    let all: Vec<&Month> = months.iter().filter(|row| row.unit.is_none()).collect();
    let line: Vec<BandPoint> = all.iter().filter_map(|row| row.point()).collect();
    // Two months make no trend.
    let chart = (line.len() > 2)
        .then(|| {
            let what = Trend {
                label: "orders that came back, of those handed over in 28 days",
                line: &line,
                reach: 0.02,
                ..Trend::default()
            };
            let words =
                "The share of orders that came back, by 28 days of hand-overs, with 95 % limits.";
            chart::trend("comebacks-by-month", words, &what)
        })
        .flatten();
    let part = reading.part(
        "comeback_months.md",
        context! {
            months => all.iter().map(|row| MonthLine::new(row)).collect::<Vec<_>>(),
            charts => super::named(chart.as_slice()),
        },
    )?;
    Ok(part
        .with_charts(chart)
        .with_table(sheet(&months, reading.style)))
}

/// The months of all orders and of each unit, the oldest first.
pub async fn months(reading: &Reading<'_>) -> Result<Vec<Month>, ReportError> {
    reading
        .rows("SELECT * FROM comeback_month ORDER BY kind, unit, technician, month_no DESC")
        .await
}

/// 28 days of hand-overs.
#[derive(Debug, Deserialize)]
pub struct Month {
    pub kind: String,
    pub unit: Option<String>,
    pub technician: Option<String>,
    pub month_no: i64,
    pub from_on: NaiveDate,
    pub to_on: NaiveDate,
    pub orders: i64,
    pub comebacks: i64,
    pub return_cost: Option<f64>,
    pub share: Option<f64>,
    pub share_lower: Option<f64>,
    pub share_upper: Option<f64>,
}

impl Month {
    fn point(&self) -> Option<BandPoint> {
        Some(BandPoint {
            day: self.to_on,
            value: self.share?,
            lower: self.share_lower?,
            upper: self.share_upper?,
        })
    }
}

#[derive(Debug, Serialize)]
struct MonthLine {
    from_on: String,
    to_on: String,
    orders: i64,
    comebacks: i64,
    share: String,
    cost: Option<f64>,
}

impl MonthLine {
    fn new(row: &Month) -> Self {
        Self {
            from_on: row.from_on.to_string(),
            to_on: row.to_on.to_string(),
            orders: row.orders,
            comebacks: row.comebacks,
            share: with_limits(row.share, row.share_lower, row.share_upper),
            cost: row.return_cost,
        }
    }
}

fn sheet(rows: &[Month], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "comeback-months",
        rows,
        vec![
            column("kind", Kind::Text, |row: &Month| row.kind.clone()),
            column("unit", Kind::Text, |row: &Month| {
                let unit = row.unit.as_deref()?;
                Some(named(&row.kind, unit, row.technician.as_deref(), style))
            }),
            column("from_on", Kind::Day, |row: &Month| row.from_on.to_string()),
            column("to_on", Kind::Day, |row: &Month| row.to_on.to_string()),
            column("orders", Kind::Integer, |row: &Month| row.orders),
            column("comebacks", Kind::Integer, |row: &Month| row.comebacks),
            column("share", Kind::Share, |row: &Month| row.share),
            column("share_lower", Kind::Share, |row: &Month| row.share_lower),
            column("share_upper", Kind::Share, |row: &Month| row.share_upper),
            column("return_cost", Kind::Money, |row: &Month| row.return_cost),
        ],
    )
}

/// What a unit is called; a technician by shop and initials, which may need a pseudonym.
pub fn named(kind: &str, unit: &str, technician: Option<&str>, style: &ReportStyle) -> String {
    let unit = match kind {
        "shop" | "technician" => style.shop(unit),
        _ => unit.to_owned(),
    };
    match technician {
        Some(technician) => format!("{unit} {}", style.technician(technician)),
        None => unit,
    }
}
