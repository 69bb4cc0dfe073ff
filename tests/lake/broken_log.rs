//! A log that lost an entry, or part of one, is told of; it is never read as an older lake.

use std::path::Path;

use voltwane::lake::Lake;
use voltwane::lake::tables::TABLES;

use super::{append_everywhere, assert_each_once, lake_place, newest_entry};
use crate::workplace::Workplace;

/// A lake that was written to twice.
async fn written_twice() -> Workplace {
    let place = Workplace::new();
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    append_everywhere(&mut lake, 0..3).await;
    append_everywhere(&mut lake, 3..6).await;
    place
}

/// Asserts that the lake is refused in one line that names the entry and says this of it.
#[track_caller]
fn assert_told(place: &Workplace, entry: &Path, fault: &str, advice: &str) {
    let output = place.run(&["sql", "--lake", "lake", "SELECT 1 AS one"]);
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert_eq!(told.lines().count(), 1, "{told}");
    let expected = format!("voltwane: {} {fault}; ", entry.display());
    assert!(told.starts_with(&expected), "{told}");
    assert!(told.contains(advice), "{told}");
}

#[tokio::test]
async fn a_newest_entry_that_is_gone_empty_or_cut_is_told() {
    let place = written_twice().await;
    let lake = place.path().join("lake");
    for table in TABLES {
        let entry = newest_entry(&lake, table.name);
        let whole = std::fs::read(&entry).expect("readable");
        // The load log's own entry holds no facts: it may go, and nothing else names it.
        let is_log = table.name == "load_log";
        let advice = if is_log {
            "remove that file and run the load again"
        } else {
            "restore that file from a backup"
        };
        std::fs::write(&entry, "").expect("writable");
        assert_told(&place, &entry, "is empty", advice);
        std::fs::write(&entry, &whole[..whole.len() - 20]).expect("writable");
        assert_told(&place, &entry, "breaks off midway", advice);
        std::fs::remove_file(&entry).expect("removable");
        if !is_log {
            assert_told(&place, &entry, "is missing", advice);
        }
        std::fs::write(&entry, &whole).expect("writable");
    }
    assert_each_once(&place, 6);
}

#[tokio::test]
async fn a_gap_in_a_log_is_told() {
    let place = written_twice().await;
    for table in TABLES {
        let newest = newest_entry(&place.path().join("lake"), table.name);
        let gone = newest.with_file_name("00000000000000000001.json");
        let whole = std::fs::read(&gone).expect("readable");
        std::fs::remove_file(&gone).expect("removable");
        assert_told(&place, &gone, "is missing", "restore that file");
        std::fs::write(&gone, whole).expect("writable");
    }
}

#[tokio::test]
async fn an_entry_that_no_finished_load_names_can_be_removed_and_loaded_again() {
    let place = written_twice().await;
    let newest = newest_entry(&place.path().join("lake"), "vehicle");
    let next = newest.with_file_name("00000000000000000003.json");
    std::fs::write(&next, "").expect("writable");
    assert_told(
        &place,
        &next,
        "is empty",
        "remove that file and run the load again",
    );
    std::fs::remove_file(&next).expect("removable");
    assert_each_once(&place, 6);
}

#[tokio::test]
async fn a_lake_whose_load_log_names_no_versions_is_read_as_before() {
    let place = written_twice().await;
    let lake = place.path().join("lake");
    for version in 0..=2 {
        let entry = lake.join(format!("load_log/_delta_log/{version:020}.json"));
        let text = std::fs::read_to_string(&entry).expect("readable");
        assert_eq!(text.contains("\"tableVersions\":{"), version > 0, "{text}");
        let older = text.replace("\"tableVersions\"", "\"unknown\"");
        std::fs::write(&entry, older).expect("writable");
    }
    assert_each_once(&place, 6);
    // The next writer names them, and is held to it.
    let mut writer = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("the lake");
    append_everywhere(&mut writer, 6..8).await;
    drop(writer);
    let entry = newest_entry(&lake, "battery_test");
    std::fs::remove_file(&entry).expect("removable");
    assert_told(&place, &entry, "is missing", "restore that file");
}
