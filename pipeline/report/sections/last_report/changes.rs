//! What of the plan is not what the last report said.

use serde::{Deserialize, Serialize};

use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::{self, word};
use trade::derived_words::PlanChange;

pub const CHANGES: &str = "
    SELECT vin, position, unit_no, depot, rank, action, rank_before, action_before, change
    FROM plan_change
    WHERE change IS NOT NULL
    ORDER BY CASE change WHEN 'ignored' THEN 0 WHEN 'new' THEN 1 WHEN 'moved' THEN 2 ELSE 3 END, rank, vin, position";

/// A battery whose place in the plan is not what the last report said.
#[derive(Debug, Deserialize)]
pub struct Change {
    pub vin: String,
    pub position: String,
    pub unit_no: Option<String>,
    pub depot: String,
    pub rank: i64,
    pub action: String,
    pub rank_before: Option<i64>,
    pub action_before: Option<String>,
    #[serde(deserialize_with = "word")]
    pub change: PlanChange,
}

/// How many batteries changed in each way, in the order of the rows: "26 ignored".
pub fn by_change(changes: &[Change]) -> Vec<String> {
    changes
        .chunk_by(|a, b| a.change == b.change)
        .map(|alike| format!("{} {}", alike.len(), words::plan_change(alike[0].change)))
        .collect()
}

/// A battery whose place in the plan changed.
#[derive(Debug, Serialize)]
pub struct ChangeLine {
    pub unit: String,
    pub depot: String,
    pub position: String,
    pub change: &'static str,
    pub rank: i64,
    pub action: String,
    pub before: String,
}

impl ChangeLine {
    pub fn new(row: &Change, style: &ReportStyle) -> Self {
        Self {
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            position: row.position.clone(),
            change: words::plan_change(row.change),
            rank: row.rank,
            action: row.action.clone(),
            before: match (&row.action_before, row.rank_before) {
                (Some(action), Some(rank)) => format!("{action}, rank {rank}"),
                _ => "not in it".to_owned(),
            },
        }
    }
}

/// Batteries whose place in the plan is not what the last report said.
pub fn sheet(rows: &[Change], style: &ReportStyle) -> Sheet {
    Sheet::new(
        "changes",
        rows,
        vec![
            column("change", Kind::Text, |row: &Change| {
                words::plan_change(row.change)
            }),
            column("vin", Kind::Text, |row: &Change| style.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Change| {
                row.unit_no.as_deref().map(|unit| style.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Change| row.depot.clone()),
            column("position", Kind::Text, |row: &Change| row.position.clone()),
            column("rank", Kind::Integer, |row: &Change| row.rank),
            column("action", Kind::Text, |row: &Change| row.action.clone()),
            column("rank_before", Kind::Integer, |row: &Change| row.rank_before),
            column("action_before", Kind::Text, |row: &Change| {
                row.action_before.clone()
            }),
        ],
    )
}
