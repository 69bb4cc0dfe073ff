//! The lake itself: who may write when, what a cut-short run leaves, what a damaged log tells.

mod broken_log;
mod corrections;
mod counted_store;
mod cut_short;
mod growing;
mod killed;
mod mending;
mod object_store;
mod outside;
mod releases;
mod s3_store;
mod taking_back;
mod unwritable;
mod upkeep;
mod writers;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray,
};
use voltwane::lake::Lake;
use voltwane::lake::append::Append;
use voltwane::lake::tables::{Kind, TABLES, Table};

use crate::workplace::Workplace;

const MICROS_A_DAY: i64 = 86_400_000_000;
/// 2025-12-25, so that few rows span two years.
const FIRST_DAY: i32 = 20_447;

/// Rows of a table, one a number: the same number is the same fact.
fn facts(table: &Table, numbers: std::ops::Range<i32>) -> RecordBatch {
    let numbers = || numbers.clone();
    let columns: Vec<ArrayRef> = table
        .columns
        .iter()
        .map(|column| match column.kind {
            Kind::Text => Arc::new(
                numbers()
                    .map(|n| Some(format!("{} {n}", column.name)))
                    .collect::<StringArray>(),
            ) as ArrayRef,
            Kind::Day => Arc::new(
                numbers()
                    .map(|n| Some(FIRST_DAY + n))
                    .collect::<Date32Array>(),
            ),
            Kind::Instant => Arc::new(
                numbers()
                    .map(|n| Some(i64::from(FIRST_DAY + n) * MICROS_A_DAY))
                    .collect::<TimestampMicrosecondArray>()
                    .with_timezone("UTC"),
            ),
            Kind::Integer => Arc::new(
                numbers()
                    .map(|n| Some(i64::from(n)))
                    .collect::<Int64Array>(),
            ),
            Kind::Number => Arc::new(
                numbers()
                    .map(|n| Some(f64::from(n)))
                    .collect::<Float64Array>(),
            ),
            Kind::Flag => Arc::new(
                numbers()
                    .map(|n| Some(n % 2 == 0))
                    .collect::<BooleanArray>(),
            ),
        })
        .collect();
    RecordBatch::try_new(table.intake_schema(), columns).expect("columns of the table's kinds")
}

/// Appends these facts to every table.
async fn append_everywhere(lake: &mut Lake, numbers: std::ops::Range<i32>) {
    let mut append = Append::new(lake, "a test");
    for table in TABLES {
        let rows = facts(table, numbers.clone());
        append.rows(table.name, &rows).await.expect("taken");
    }
    append.commit().await.expect("committed");
}

fn lake_place(place: &Workplace) -> String {
    place.path().join("lake").display().to_string()
}

/// Asserts that every table holds so many rows, no two alike.
#[track_caller]
fn assert_each_once(place: &Workplace, expected: u64) {
    let each: Vec<String> = TABLES
        .iter()
        .map(|table| {
            format!(
                "SELECT '{0}' AS name, COUNT(*) AS kept, COUNT(DISTINCT row_hash) AS facts FROM lake.{0}",
                table.name
            )
        })
        .collect();
    let counts = place.sql(&[], &each.join(" UNION ALL "));
    assert_eq!(counts.len(), TABLES.len());
    for count in counts {
        assert_eq!(count["kept"].as_u64(), Some(expected), "{count}");
        assert_eq!(count["facts"].as_u64(), Some(expected), "{count}");
    }
}

/// The newest entry of a table's log.
fn newest_entry(lake: &Path, table: &str) -> PathBuf {
    std::fs::read_dir(lake.join(table).join("_delta_log"))
        .expect("a log")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .max()
        .expect("an entry")
}

/// Vehicles lie in as many buckets as there are rows for, so that a large lake does not fill the memory.
#[tokio::test(flavor = "multi_thread")]
async fn a_lake_knows_how_many_rows_it_has() {
    let place = Workplace::new();
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    append_everywhere(&mut lake, 0..7).await;
    append_everywhere(&mut lake, 7..12).await;
    let lake = Lake::open(&lake_place(&place)).await.expect("a lake");
    for table in TABLES.iter().filter(|table| table.name != "load_log") {
        assert_eq!(lake.rows_counted(table), 12, "{}", table.name);
    }
}
