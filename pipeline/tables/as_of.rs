//! Raw tables as they were known on a day: rows of later events are not there, and a later day or
//! instant inside an earlier row (an order closed, a vehicle gone) is still unknown.

use chrono::NaiveDate;

use lake::tables::{Kind, Table};

/// The column that says when a row became known, of tables that hold facts about vehicles and
/// depots. The others are the lake's own book-keeping.
fn known_by(table: &Table) -> Option<&'static str> {
    match table.name {
        "vehicle" => Some("seen_on"),
        "depot_weather" => Some("day"),
        "risk_week" => Some("as_of"),
        _ => table.event_time,
    }
}

/// The SQL of the table as known at the end of `as_of`.
pub fn view_sql(table: &Table, as_of: NaiveDate) -> String {
    let Some(known_by) = known_by(table) else {
        return format!("SELECT * FROM lake.{}", table.name);
    };
    // The day comes from a calendar date and the names from the lake's design: nothing a user wrote
    // is put into this text.
    let known = |column: &str, kind: Kind| match kind {
        Kind::Instant => format!("{column} < TIMESTAMP '{as_of}T00:00:00Z' + INTERVAL '1 day'"),
        _ => format!("{column} <= DATE '{as_of}'"),
    };
    let columns: Vec<String> = table
        .columns
        .iter()
        .map(|column| match column.kind {
            Kind::Day | Kind::Instant if column.name != known_by && !column.required => format!(
                "CASE WHEN {} THEN {name} END AS {name}",
                known(column.name, column.kind),
                name = column.name
            ),
            _ => column.name.to_owned(),
        })
        .chain(std::iter::once("load_id".to_owned()))
        .collect();
    let kind = table
        .columns
        .iter()
        .find(|column| column.name == known_by)
        .map_or(Kind::Day, |column| column.kind);
    format!(
        "SELECT {} FROM lake.{} WHERE {}",
        columns.join(", "),
        table.name,
        known(known_by, kind)
    )
}

/// The SQL of the newest day on which anything was seen of a vehicle.
pub fn newest_fact_sql() -> String {
    let days: Vec<String> = lake::tables::TABLES
        .iter()
        .filter(|table| table.name != "risk_week" && table.name != "depot_weather")
        .filter_map(|table| Some((table.name, known_by(table)?)))
        .map(|(table, column)| {
            format!("SELECT MAX(CAST({column} AS DATE)) AS day FROM lake.{table}")
        })
        .collect();
    format!("SELECT MAX(day) FROM ({})", days.join(" UNION ALL "))
}
