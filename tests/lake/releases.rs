//! Lakes of other releases: an older one opens for ever and is brought up by the next load, a newer
//! one is refused with what to do.
//!
//! `fixtures/first_release` was written by the first release: a lake of 20 vehicles, loaded twice, with
//! one weekly run, and the dumps it was loaded from.

use std::path::Path;

use voltwane::lake::tables::{TABLES, table};

use super::newest_entry;
use crate::workplace::Workplace;

const FIRST_RELEASE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/tests/lake/fixtures/first_release"
);

/// The rows that the first release itself counts in its lake.
const ROWS: [(&str, u64); 8] = [
    ("vehicle", 55),
    ("battery_test", 16),
    ("code_scan", 35),
    ("trouble_code", 115),
    ("work_order", 61),
    ("quarantine", 8),
    ("load_log", 29),
    ("risk_week", 19),
];

/// A copy of the first release's lake and dumps.
pub fn first_release() -> Workplace {
    let place = Workplace::new();
    copy(Path::new(FIRST_RELEASE), place.path());
    place
}

pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder can be made");
    for entry in std::fs::read_dir(from).expect("readable").flatten() {
        let (from, to) = (entry.path(), to.join(entry.file_name()));
        #[cfg(unix)]
        if from.is_symlink() {
            let target = std::fs::read_link(&from).expect("a link");
            std::os::unix::fs::symlink(target, &to).expect("linked");
            continue;
        }
        match from.is_dir() {
            true => copy(&from, &to),
            false => {
                std::fs::copy(&from, &to).expect("copied");
            }
        }
    }
}

/// Every fact and quarantined row of the lake, by table and content.
pub fn contents(place: &Workplace) -> Vec<String> {
    let facts = "vehicle battery_test code_scan trouble_code work_order depot_weather quarantine";
    let each: Vec<String> = facts
        .split(' ')
        .map(|table| format!("SELECT '{table}' AS name, row_hash FROM lake.{table}"))
        .collect();
    let all = format!("{} ORDER BY name, row_hash", each.join(" UNION ALL "));
    place
        .sql(&[], &all)
        .iter()
        .map(ToString::to_string)
        .collect()
}

fn count(place: &Workplace, rows: &str) -> u64 {
    let counted = place.sql(&[], &format!("SELECT COUNT(*) AS rows FROM {rows}"));
    counted[0]["rows"].as_u64().expect("a count")
}

/// The version that the table's newest metadata names.
fn version_named(place: &Workplace, table: &str) -> Option<String> {
    let newest = newest_entry(&place.path().join("lake"), table);
    let mut log: Vec<_> = std::fs::read_dir(newest.parent().expect("a folder"))
        .expect("a log")
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .collect();
    log.sort();
    let named = log.iter().rev().find_map(|entry| {
        let text = std::fs::read_to_string(entry).expect("readable");
        text.lines().find_map(|line| {
            let action: serde_json::Value = serde_json::from_str(line).expect("JSON");
            action.get("metaData").cloned()
        })
    })?;
    let version = named["configuration"]["voltwane.schemaVersion"].as_str()?;
    Some(version.to_owned())
}

#[test]
fn a_lake_of_the_first_release_is_read_and_columns_that_came_later_are_absent_in_it() {
    let place = first_release();
    for (table, rows) in ROWS {
        assert_eq!(count(&place, &format!("lake.{table}")), rows, "{table}");
    }
    let later: u64 = count(
        &place,
        "battery_test WHERE local_day IS NOT NULL OR part_no IS NOT NULL",
    );
    assert_eq!(later, 0);

    assert_eq!(
        version_named(&place, "vehicle"),
        None,
        "reading changes nothing"
    );
}

#[test]
fn loading_the_same_dumps_into_a_lake_of_the_first_release_adds_no_fact() {
    let place = first_release();
    let said = place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    assert!(said.contains("| all "), "{said}");
    for (table, rows) in ROWS {
        // An order that names no battery was read as of the main one then; now it corrects that row.
        let facts = match table {
            "load_log" => continue,
            "work_order" => "lake.work_order WHERE corrects IS NULL".to_owned(),
            _ => format!("lake.{table}"),
        };
        assert_eq!(count(&place, &facts), rows, "{table}\n{said}");
    }
    let corrected = count(
        &place,
        "lake.work_order n JOIN lake.work_order o ON n.corrects = o.row_hash
         WHERE n.position IS NULL AND o.position = 'main' AND n.order_no = o.order_no",
    );
    assert_eq!(
        corrected,
        count(&place, "lake.work_order WHERE corrects IS NOT NULL")
    );
    assert!(corrected > 0);
}

#[test]
fn the_next_load_brings_a_lake_up_and_old_and_new_rows_stand_side_by_side() {
    let place = first_release();
    let vin = place.sql(&[], "SELECT MIN(vin) AS vin FROM battery_test")[0]["vin"].clone();
    let vin = vin.as_str().expect("a VIN");
    place.write(
        "new.csv",
        format!("vin,tested_at,rest_voltage_v,lot\n{vin},2026-06-01T23:30:00-05:00,12.4,L7\n"),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "new.csv"]);
    for table in TABLES {
        let version = version_named(&place, table.name);
        assert_eq!(version, Some(table.version().to_string()), "{}", table.name);
    }
    assert_eq!(count(&place, "lake.battery_test"), 17);
    let new = place.sql(
        &[],
        "SELECT lot, local_day, CAST(tested_at AS DATE) AS utc_day FROM battery_test WHERE lot IS NOT NULL",
    );
    assert_eq!(new.len(), 1);
    assert_eq!(new[0]["lot"], "L7");
    // The day as written where it happened, beside the instant's own in UTC.
    assert_eq!(new[0]["local_day"], "2026-06-01");
    assert_eq!(new[0]["utc_day"], "2026-06-02");
    let old = count(&place, "lake.battery_test WHERE local_day IS NULL");
    assert_eq!(old, 16);
}

#[test]
fn a_lake_of_a_newer_release_is_refused_with_what_to_do_and_not_touched() {
    let place = first_release();
    place.write(
        "weather.csv",
        "depot,day,mean_temperature_c\nYard,2026-01-01,1\n",
    );
    place.run_expecting(0, &["load", "--lake", "lake", "weather.csv"]);
    let entry = newest_entry(&place.path().join("lake"), "depot_weather");
    let text = std::fs::read_to_string(&entry).expect("readable");
    let known = table("depot_weather").expect("a table").version();
    let newer = text.replace(
        &format!("\"voltwane.schemaVersion\":\"{known}\""),
        "\"voltwane.schemaVersion\":\"99\"",
    );
    assert_ne!(newer, text);
    std::fs::write(&entry, &newer).expect("writable");
    for arguments in [
        &["sql", "--lake", "lake", "SELECT 1 AS one"][..],
        &["load", "--lake", "lake", "weather.csv"],
    ] {
        let output = place.run(arguments);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains("was written by a newer voltwane"), "{told}");
        assert!(
            told.contains("depot_weather has schema version 99"),
            "{told}"
        );
    }
    assert_eq!(std::fs::read_to_string(&entry).expect("readable"), newer);
}
