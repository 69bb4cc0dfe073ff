//! Raw tables as they were known on a day: rows of later events are not there, and a later day or
//! instant inside an earlier row (an order closed, a vehicle gone) is still unknown.
//!
//! That is the day a fact is of. The day it was loaded is another: [`KnownBy`] leaves out what came
//! into the lake later, rows and corrections alike. Of a fact and its correction only the newest is
//! there. Book-keeping has no day but that of its load; a look from the newest fact's day sees all of it,
//! but for quarantined rows that came again mended.

use chrono::NaiveDate;

use lake::tables::{CORRECTS, Kind, KnownFrom, ROW_HASH, TABLES, Table};

/// What the views of the raw tables leave out.
#[derive(Debug, Clone, Copy)]
pub struct KnownBy<'t> {
    /// Facts of later days.
    pub as_of: NaiveDate,
    /// Whether that is the newest fact's day or later.
    pub is_newest: bool,
    /// What was loaded after this day, where one is given.
    pub loaded_by: Option<NaiveDate>,
    /// The tables in which rows are corrected.
    pub corrected: &'t [&'static str],
}

/// The instant of the load that brought a row, which ends its `load_id`; none where the id has none.
const LOADED_AT: &str =
    "TRY_CAST(regexp_match(load_id, '[0-9]{4}-[0-9]{2}-[0-9]{2}T[^ ]*$')[1] AS TIMESTAMP)";

fn loaded_by(day: NaiveDate) -> String {
    format!("COALESCE({LOADED_AT} < TIMESTAMP '{day}T00:00:00' + INTERVAL '1 day', TRUE)")
}

/// The SQL of the tables that have corrections, of those whose rows have keys.
pub fn corrected_tables_sql() -> String {
    let tables: Vec<String> = TABLES
        .iter()
        .filter(|table| !table.key.is_empty())
        .map(|table| {
            format!(
                "SELECT '{0}' AS name FROM lake.{0} WHERE {CORRECTS} IS NOT NULL",
                table.name
            )
        })
        .collect();
    format!("SELECT DISTINCT name FROM ({})", tables.join(" UNION ALL "))
}

/// The SQL of the table with what was known then.
pub fn view_sql(table: &Table, known_by: KnownBy<'_>) -> String {
    let KnownBy { as_of, .. } = known_by;
    let mut conditions: Vec<String> = known_by.loaded_by.map(loaded_by).into_iter().collect();
    let mut rows = format!("lake.{}", table.name);
    if known_by.corrected.contains(&table.name) {
        let correcting: Vec<String> = [format!("{CORRECTS} IS NOT NULL")]
            .into_iter()
            .chain(conditions.iter().cloned())
            .collect();
        rows = format!(
            "{rows} r LEFT ANTI JOIN (SELECT {CORRECTS} AS gone FROM {rows} WHERE {}) c ON c.gone = r.{ROW_HASH}",
            correcting.join(" AND ")
        );
    }
    if table.name == RUNS {
        let among: Vec<String> = conditions
            .iter()
            .cloned()
            .chain([format!("as_of <= DATE '{as_of}'")])
            .collect();
        rows = newest_runs(&among.join(" AND "));
    }
    let KnownFrom::Event(known_by_column) = table.known_from else {
        if !known_by.is_newest {
            conditions.push(loaded_by(as_of));
        }
        if table.name == QUARANTINE {
            rows = without_mended(&conditions);
        }
        return select("*", &rows, &conditions);
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
        .map(|column| {
            // A local day is known as soon as its instant is.
            let (tells, kind) = match column.local_day_of {
                Some(instant) => (instant, Kind::Instant),
                None => (column.name, column.kind),
            };
            let later = matches!(kind, Kind::Day | Kind::Instant) && !column.required;
            if later && tells != known_by_column {
                return format!(
                    "CASE WHEN {} THEN {name} END AS {name}",
                    known(tells, kind),
                    name = column.name
                );
            }
            column.name.to_owned()
        })
        .chain(std::iter::once("load_id".to_owned()))
        .collect();
    let kind = table
        .columns
        .iter()
        .find(|column| column.name == known_by_column)
        .map_or(Kind::Day, |column| column.kind);
    conditions.push(known(known_by_column, kind));
    select(&columns.join(", "), &rows, &conditions)
}

/// The table of what weekly runs said.
const RUNS: &str = "risk_week";

/// The rows of each week's newest run, the one place that says which run of a week counts. Runs of the
/// first release had no ids; of those the one with the latest day counts.
fn newest_runs(condition: &str) -> String {
    let run = "COALESCE(run_id, CONCAT(load_id, ' ', CAST(as_of AS VARCHAR)))";
    format!(
        "(SELECT * FROM (SELECT *, FIRST_VALUE({run}) OVER (PARTITION BY week \
           ORDER BY {LOADED_AT} DESC NULLS LAST, as_of DESC, {run}) AS newest_run, {run} AS run \
         FROM lake.{RUNS} WHERE {condition}) WHERE run = newest_run)"
    )
}

/// The table of rows that could not be used.
const QUARANTINE: &str = "quarantine";

/// Its rows without those that came again mended, and without the notes that they did.
fn without_mended(conditions: &[String]) -> String {
    let noted: Vec<String> = ["mended".to_owned()]
        .into_iter()
        .chain(conditions.iter().cloned())
        .collect();
    format!(
        "lake.{QUARANTINE} r LEFT ANTI JOIN (SELECT file AS of_file, file_hash AS of_hash, line AS of_line \
         FROM lake.{QUARANTINE} WHERE {}) m ON m.of_file = r.file AND m.of_hash = r.file_hash AND m.of_line = r.line",
        noted.join(" AND ")
    )
}

fn select(columns: &str, rows: &str, conditions: &[String]) -> String {
    match conditions {
        [] => format!("SELECT {columns} FROM {rows}"),
        all => format!("SELECT {columns} FROM {rows} WHERE {}", all.join(" AND ")),
    }
}

/// The SQL of the newest day on which anything was seen of a vehicle, of what was loaded by a day.
pub fn newest_fact_sql(known_by: Option<NaiveDate>) -> String {
    let condition = known_by.map_or_else(|| "TRUE".to_owned(), loaded_by);
    let days: Vec<String> = TABLES
        .iter()
        .filter(|table| table.name != "risk_week" && table.name != "depot_weather")
        .filter_map(|table| match table.known_from {
            KnownFrom::Event(column) => Some(format!(
                "SELECT MAX(CAST({column} AS DATE)) AS day FROM lake.{} WHERE {condition}",
                table.name
            )),
            KnownFrom::Load => None,
        })
        .collect();
    format!("SELECT MAX(day) FROM ({})", days.join(" UNION ALL "))
}
