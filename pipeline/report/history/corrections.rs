//! What was corrected of a vehicle: which fact, what it said before and since, when and by which file.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::super::ReportError;
use super::super::style::ReportStyle;
use lake::tables::{Column, Kind, TABLES, Table};
use tables::Analysis;

/// One correction, as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Correction {
    /// The day it came.
    pub corrected_on: String,
    /// The day of the fact.
    pub fact_on: String,
    pub what: String,
    pub by: String,
    pub change: String,
}

const CORRECTED: &str = "SELECT DISTINCT table_name FROM correction WHERE subject = $vin";

/// A table with corrections of the vehicle's facts.
#[derive(Debug, Deserialize)]
struct Corrected {
    table_name: String,
}

/// Every correction of a fact of the vehicle that was known, the newest first.
pub async fn of(
    analysis: &Analysis,
    vin: &str,
    style: &ReportStyle,
) -> Result<Vec<Correction>, ReportError> {
    let corrected: Vec<Corrected> = analysis.rows_with(CORRECTED, &[("vin", vin)]).await?;
    let mut all = Vec::new();
    for table in TABLES {
        let is_corrected = corrected.iter().any(|one| one.table_name == table.name);
        let Some(day) = day_column(table).filter(|_| is_corrected) else {
            continue;
        };
        let query = format!(
            "SELECT * FROM lake.{0} WHERE vin = $vin AND (corrects IS NOT NULL OR row_hash IN \
             (SELECT corrects FROM lake.{0} WHERE vin = $vin AND corrects IS NOT NULL))",
            table.name
        );
        let rows: Vec<Map<String, Value>> = analysis.rows_with(&query, &[("vin", vin)]).await?;
        let by_hash: HashMap<i64, &Map<String, Value>> = rows
            .iter()
            .filter_map(|row| Some((row.get("row_hash")?.as_i64()?, row)))
            .collect();
        for now in &rows {
            let corrects = now.get("corrects").and_then(Value::as_i64);
            let Some(was) = corrects.and_then(|hash| by_hash.get(&hash)) else {
                continue;
            };
            let loaded_on = loaded_on(now);
            let fact_on = day_of(now, day.name);
            let is_known = analysis.known_by().is_none_or(|day| {
                loaded_on.as_deref().unwrap_or_default() <= day.to_string().as_str()
            });
            if is_known && fact_on <= analysis.as_of().to_string() {
                all.push(Correction {
                    corrected_on: loaded_on.unwrap_or_default(),
                    fact_on,
                    what: table.name.replace('_', " "),
                    by: by(now, style),
                    change: change(table, was, now, style),
                });
            }
        }
    }
    all.sort_by(|a, b| b.cmp(a));
    Ok(all)
}

/// The column of the day on which the fact happened.
fn day_column(table: &Table) -> Option<&'static Column> {
    table.columns.iter().find(|column| {
        table.key.contains(&column.name) && matches!(column.kind, Kind::Day | Kind::Instant)
    })
}

fn day_of(row: &Map<String, Value>, column: &str) -> String {
    let text = row.get(column).and_then(Value::as_str).unwrap_or_default();
    text.chars().take(10).collect()
}

/// The day that ends a load's id.
fn loaded_on(row: &Map<String, Value>) -> Option<String> {
    let id = row.get("load_id")?.as_str()?;
    let day: String = id.rsplit(' ').next()?.chars().take(10).collect();
    day.parse::<NaiveDate>().ok().map(|day| day.to_string())
}

/// The file that brought it; not to others, since a file may be named after anybody.
fn by(row: &Map<String, Value>, style: &ReportStyle) -> String {
    let file = row.get("from_file").and_then(Value::as_str);
    match file {
        _ if style.shared() => "a later file".to_owned(),
        Some(file) => match row.get("from_line").and_then(Value::as_i64) {
            Some(line) => format!("{file}, line {line}"),
            None => file.to_owned(),
        },
        None => "a file of an older release's load".to_owned(),
    }
}

/// The columns that say otherwise now, with both values; to others the columns alone.
fn change(
    table: &Table,
    was: &Map<String, Value>,
    now: &Map<String, Value>,
    style: &ReportStyle,
) -> String {
    let changed = table
        .columns
        .iter()
        .filter(|column| column.is_content)
        .filter(|column| was.get(column.name) != now.get(column.name))
        .map(|column| match style.shared() {
            true => column.name.to_owned(),
            false => format!(
                "{} was {}, is {}",
                column.name,
                value(was.get(column.name)),
                value(now.get(column.name))
            ),
        });
    changed.collect::<Vec<_>>().join("; ")
}

fn value(value: Option<&Value>) -> String {
    match value {
        None | Some(Value::Null) => "absent".to_owned(),
        Some(Value::String(text)) => text.clone(),
        Some(Value::Bool(true)) => "yes".to_owned(),
        Some(Value::Bool(false)) => "no".to_owned(),
        Some(other) => other.to_string(),
    }
}
