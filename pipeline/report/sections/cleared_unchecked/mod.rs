//! Codes cleared and the vehicle handed over without another scan.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, RECENT_DAYS, Reading, Section, Share, vehicle_columns};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for clears that nobody checked",
    templates: &[("cleared_unchecked.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let unchecked = unchecked(reading).await?;
    let by_shop: Vec<UncheckedShare> = reading.rows(UNCHECKED_BY_SHOP).await?;
    let recently = reading.since(RECENT_DAYS);
    let recent: Vec<&Unchecked> = unchecked
        .iter()
        .filter(|row| row.opened_on > recently)
        .collect();
    let part = reading.part(
        "cleared_unchecked.md",
        context! {
            recently,
            unchecked => recent.iter().take(LIST_ROWS).map(|row| UncheckedLine::new(row, reading.style)).collect::<Vec<_>>(),
            all_unchecked => recent.len(),
            unchecked_by_shop => by_shop.iter().map(|row| UncheckedShopLine::new(row, reading.style)).collect::<Vec<_>>(),
        },
    )?;
    Ok(part.with_table(sheet(&unchecked, reading.style)))
}

/// The orders that did so, the newest first.
pub async fn unchecked(reading: &Reading<'_>) -> Result<Vec<Unchecked>, ReportError> {
    reading.rows(UNCHECKED).await
}

const UNCHECKED: &str = "
    SELECT * FROM cleared_unchecked ORDER BY opened_on DESC, vin, order_no";

/// Codes cleared and the vehicle handed over without another scan.
#[derive(Debug, Deserialize)]
pub struct Unchecked {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub opened_on: String,
    pub shop: Option<String>,
    pub technician: Option<String>,
    pub complaint: Option<String>,
    pub codes: i64,
    pub minutes: i64,
    pub came_back: bool,
}

const UNCHECKED_BY_SHOP: &str = "
    SELECT COALESCE(k.shop, 'not known') AS shop, COUNT(*) AS clears,
           SUM(CASE WHEN u.vin IS NOT NULL THEN 1 ELSE 0 END) AS unchecked,
           share_limits(SUM(CASE WHEN u.vin IS NOT NULL THEN 1 ELSE 0 END), COUNT(*)) AS share
    FROM code_clear k
    LEFT JOIN cleared_unchecked u ON u.vin = k.vin AND u.order_no = k.order_no
    WHERE days_between(CAST(k.opened_at AS DATE), $as_of) < $rate_days
    GROUP BY COALESCE(k.shop, 'not known')
    ORDER BY shop";

/// How often a shop hands over without looking again.
#[derive(Debug, Deserialize)]
struct UncheckedShare {
    pub shop: String,
    pub clears: i64,
    pub unchecked: i64,
    pub share: Option<Share>,
}

#[derive(Debug, Serialize)]
struct UncheckedLine {
    unit: String,
    order: String,
    opened_on: String,
    shop: Option<String>,
    technician: Option<String>,
    complaint: Option<String>,
    codes: i64,
    minutes: i64,
    came_back: &'static str,
}

impl UncheckedLine {
    fn new(row: &Unchecked, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            order: style.order(&row.order_no),
            opened_on: row.opened_on.clone(),
            shop: row.shop.as_deref().map(|shop| style.shop(shop)),
            technician: row.technician.as_deref().map(|name| style.technician(name)),
            complaint: row.complaint.as_deref().map(|said| style.typed(said)),
            codes: row.codes,
            minutes: row.minutes,
            came_back: if row.came_back { "yes" } else { "no" },
        }
    }
}

#[derive(Debug, Serialize)]
struct UncheckedShopLine {
    shop: String,
    clears: i64,
    unchecked: i64,
    share: String,
}

impl UncheckedShopLine {
    fn new(row: &UncheckedShare, style: &ReportStyle) -> Self {
        Self {
            shop: style.shop(&row.shop),
            clears: row.clears,
            unchecked: row.unchecked,
            share: Share::said(row.share.as_ref()),
        }
    }
}

fn sheet(rows: &[Unchecked], style: &ReportStyle) -> Sheet {
    let mut columns = vehicle_columns(
        style,
        |row: &Unchecked| &row.vin,
        |row| row.unit_no.as_deref(),
    );
    columns.extend([
        column("depot", Kind::Text, |row: &Unchecked| row.depot.clone()),
        column("model", Kind::Text, |row: &Unchecked| row.model.clone()),
        column("order_no", Kind::Text, |row: &Unchecked| {
            style.order(&row.order_no)
        }),
        column("opened_on", Kind::Day, |row: &Unchecked| {
            row.opened_on.clone()
        }),
        column("shop", Kind::Text, |row: &Unchecked| {
            row.shop.as_deref().map(|shop| style.shop(shop))
        }),
        column("technician", Kind::Text, |row: &Unchecked| {
            row.technician.as_deref().map(|name| style.technician(name))
        }),
        column("complaint", Kind::Text, |row: &Unchecked| {
            row.complaint.as_deref().map(|said| style.typed(said))
        }),
        column("codes", Kind::Integer, |row: &Unchecked| row.codes),
        column("minutes", Kind::Integer, |row: &Unchecked| row.minutes),
        column("came_back", Kind::Flag, |row: &Unchecked| row.came_back),
    ]);
    Sheet::new("cleared-unchecked", rows, columns)
}
