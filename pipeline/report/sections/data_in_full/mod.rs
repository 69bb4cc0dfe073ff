//! The data behind a report, table by table, depot by depot and reason by reason.

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{LIST_ROWS, Part, Reading, Section};
use crate::ReportError;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking through the data",
    templates: &[("data_in_full.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let mut quarantined: Vec<Quarantined> = reading.rows(QUARANTINED).await?;
    if reading.style.shared() {
        quarantined = without_words(quarantined, reading.style);
    }
    let extents: Vec<Extent> = reading.rows(EXTENTS).await?;
    let depot_states: Vec<DepotState> = reading.rows(DEPOTS).await?;
    let part = reading.part(
        "data_in_full.md",
        context! {
            quarantined => quarantined.iter().take(LIST_ROWS).collect::<Vec<_>>(),
            all_reasons => quarantined.len(),
            all_quarantined => quarantined.iter().map(|row| row.rows).sum::<i64>(),
            extents,
            depot_states,
        },
    )?;
    Ok(part.with_table(sheet(&quarantined)))
}

pub const QUARANTINED: &str = "
    SELECT dump_kind, COALESCE(shop, 'not named') AS shop, COALESCE(field, 'the row') AS field, reason,
           COUNT(*) AS rows
    FROM quarantine WHERE row_loaded IS NOT TRUE GROUP BY dump_kind, COALESCE(shop, 'not named'), COALESCE(field, 'the row'), reason
    ORDER BY rows DESC, dump_kind, shop, field, reason";

/// Rows in quarantine for one reason.
#[derive(Debug, Deserialize, Serialize)]
pub struct Quarantined {
    pub dump_kind: String,
    pub shop: String,
    pub field: String,
    pub reason: String,
    pub rows: i64,
}

/// The same without the reasons' words, which may quote what stood in a row, and with shops replaced.
pub fn without_words(rows: Vec<Quarantined>, style: &ReportStyle) -> Vec<Quarantined> {
    let mut kinds: BTreeMap<(String, String, String), i64> = BTreeMap::new();
    for row in rows {
        *kinds
            .entry((row.dump_kind, style.shop(&row.shop), row.field))
            .or_default() += row.rows;
    }
    let mut rows: Vec<Quarantined> = kinds
        .into_iter()
        .map(|((dump_kind, shop, field), rows)| Quarantined {
            reason: format!("{field} could not be used"),
            dump_kind,
            shop,
            field,
            rows,
        })
        .collect();
    // Equal counts stay in the order of their names.
    rows.sort_by_key(|row| std::cmp::Reverse(row.rows));
    rows
}

pub const EXTENTS: &str = "
    SELECT table_name, rows, first_day, last_day
    FROM table_extent WHERE table_name NOT IN ('risk_week', 'load_log') ORDER BY table_name";

/// How much of a table there is.
#[derive(Debug, Deserialize, Serialize)]
pub struct Extent {
    pub table_name: String,
    pub rows: i64,
    pub first_day: Option<String>,
    pub last_day: Option<String>,
}

pub const DEPOTS: &str = "SELECT * FROM depot_state ORDER BY depot";

/// How far a depot's vehicles have been seen and tested.
#[derive(Debug, Deserialize, Serialize)]
pub struct DepotState {
    pub depot: String,
    pub vehicles: i64,
    pub not_tested: i64,
    pub last_test_on: Option<String>,
    pub last_scan_on: Option<String>,
    pub last_order_on: Option<String>,
    pub silent: bool,
}

/// Rows in quarantine by reason.
fn sheet(rows: &[Quarantined]) -> Sheet {
    Sheet::new(
        "quarantine",
        rows,
        vec![
            column("dump", Kind::Text, |row: &Quarantined| {
                row.dump_kind.clone()
            }),
            column("shop", Kind::Text, |row: &Quarantined| row.shop.clone()),
            column("field", Kind::Text, |row: &Quarantined| row.field.clone()),
            column("reason", Kind::Text, |row: &Quarantined| row.reason.clone()),
            column("rows", Kind::Integer, |row: &Quarantined| row.rows),
        ],
    )
}
