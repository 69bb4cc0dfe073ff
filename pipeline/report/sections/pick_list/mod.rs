//! What to order for this week's replacements.

use std::collections::BTreeMap;

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "listing what to order",
    templates: &[("pick_list.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let picks = picks(reading).await?;
    let part = reading.part("pick_list.md", context! { order => to_order(&picks) })?;
    Ok(part.with_table(sheet(&picks)))
}

/// What each depot needs.
pub async fn picks(reading: &Reading<'_>) -> Result<Vec<Pick>, ReportError> {
    let mut picks: Vec<Pick> = reading.rows(PICK_LIST).await?;
    for group in picks
        .iter_mut()
        .filter_map(|row| row.battery_group.as_mut())
    {
        *group = reading.style.battery_group(group);
    }
    Ok(picks)
}

pub const PICK_LIST: &str = "
    SELECT depot, battery_group, chemistry, rating_standard, minimum_rating, batteries
    FROM pick_list
    ORDER BY batteries DESC, battery_group, chemistry, rating_standard, minimum_rating, depot";

/// Batteries of one kind that a depot needs.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Pick {
    pub depot: String,
    pub battery_group: Option<String>,
    pub chemistry: Option<String>,
    pub rating_standard: Option<String>,
    pub minimum_rating: Option<f64>,
    pub batteries: i64,
}

/// Batteries of one kind to order, with where they go.
#[derive(Debug, Serialize)]
pub struct OrderLine {
    pub batteries: i64,
    pub kind: String,
    pub rating: Option<String>,
    pub depots: String,
}

/// The pick list over all depots, the most first.
pub fn to_order(picks: &[Pick]) -> Vec<OrderLine> {
    let mut kinds: BTreeMap<(String, Option<String>), (i64, Vec<String>)> = BTreeMap::new();
    for pick in picks {
        let rating = pick
            .minimum_rating
            .map(|value| match &pick.rating_standard {
                Some(standard) => format!("{value:.0} A {standard}"),
                None => format!("{value:.0} A, standard not known"),
            });
        let entry = kinds.entry((kind(pick), rating)).or_default();
        entry.0 += pick.batteries;
        entry.1.push(format!("{} {}", pick.depot, pick.batteries));
    }
    let mut lines: Vec<OrderLine> = kinds
        .into_iter()
        .map(|((kind, rating), (batteries, mut depots))| {
            depots.sort();
            OrderLine {
                batteries,
                kind,
                rating,
                depots: depots.join(", "),
            }
        })
        .collect();
    lines.sort_by(|a, b| (b.batteries, &a.kind, &a.rating).cmp(&(a.batteries, &b.kind, &b.rating)));
    lines
}

fn kind(pick: &Pick) -> String {
    match (&pick.battery_group, &pick.chemistry) {
        (Some(group), Some(chemistry)) => format!("{group} {chemistry}"),
        (Some(group), None) => format!("{group}, chemistry not known"),
        (None, Some(chemistry)) => format!("{chemistry}, group not known"),
        (None, None) => "group and chemistry not known".to_owned(),
    }
}

/// What each depot needs for this week's replacements.
fn sheet(rows: &[Pick]) -> Sheet {
    Sheet::new(
        "pick_list",
        rows,
        vec![
            column("depot", Kind::Text, |row: &Pick| row.depot.clone()),
            column("battery_group", Kind::Text, |row: &Pick| {
                row.battery_group.clone()
            }),
            column("chemistry", Kind::Text, |row: &Pick| row.chemistry.clone()),
            column("rating_standard", Kind::Text, |row: &Pick| {
                row.rating_standard.clone()
            }),
            column("minimum_rating_a", Kind::Integer, |row: &Pick| {
                row.minimum_rating
            }),
            column("batteries", Kind::Integer, |row: &Pick| row.batteries),
        ],
    )
}
