//! A load can be taken back and given again; a vehicle can be forgotten down to the bytes.

use std::path::{Path, PathBuf};

use super::releases::{contents, first_release};
use crate::workplace::{NOW, Workplace};

const TESTS: &str = "vin,tested_at,rest_voltage_v,shop\n\
                     GB6HD4H26RK000009,2026-05-01T10:00:00Z,12.1,Wexmoor\n\
                     GM2BR5G80MK000008,2026-05-02T10:00:00Z,12.2,Wexmoor\n";

fn volts(place: &Workplace) -> Vec<f64> {
    place
        .sql(
            &[],
            "SELECT rest_voltage_v AS v FROM battery_test ORDER BY v",
        )
        .iter()
        .filter_map(|row| row["v"].as_f64())
        .collect()
}

fn load_at(place: &Workplace, now: &str, file: &str) {
    place.run_expecting(0, &["load", "--lake", "lake", "--now", now, file]);
}

#[test]
fn a_load_taken_back_leaves_the_lake_as_before_and_can_be_given_again() {
    let place = Workplace::new();
    place.write("a.csv", TESTS);
    load_at(&place, "2026-06-01T06:00:00Z", "a.csv");
    place.write("b.csv", TESTS.replace("12.1", "12.6"));
    load_at(&place, "2026-06-08T06:00:00Z", "b.csv");
    assert_eq!(volts(&place), [12.2, 12.6]);
    let listed = place.run_expecting(0, &["loads", "--lake", "lake"]);
    let wrong = "2026-06-08T06:00:00.000000Z";
    assert!(
        listed.contains(wrong) && listed.contains("b.csv"),
        "{listed}"
    );

    place.run_expecting(0, &["unload", "--lake", "lake", wrong]);
    assert_eq!(volts(&place), [12.1, 12.2]);
    let listed = place.run_expecting(0, &["loads", "--lake", "lake"]);
    assert!(!listed.contains(wrong), "{listed}");
    // It is gone: taking it back once more is told of, not done.
    assert_eq!(
        place
            .run(&["unload", "--lake", "lake", wrong])
            .status
            .code(),
        Some(2)
    );
    load_at(&place, "2026-06-09T06:00:00Z", "b.csv");
    assert_eq!(volts(&place), [12.2, 12.6]);
}

#[test]
fn a_load_of_the_first_release_can_be_taken_back_and_given_again() {
    let place = first_release();
    let before = contents(&place);
    place.run_expecting(
        0,
        &["unload", "--lake", "lake", "2026-07-01T07:00:00.000000Z"],
    );
    assert!(contents(&place).len() < before.len());
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let facts = |rows: &[String]| rows.len();
    assert_eq!(facts(&contents(&place)), facts(&before));
    // What the rewriting brought up is known again, too.
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    assert_eq!(facts(&contents(&place)), facts(&before));
}

/// Every file below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("readable").flatten() {
        match entry.path() {
            path if path.is_dir() => found.extend(files(&path)),
            path => found.push(path),
        }
    }
    found
}

fn files_that_name(place: &Workplace, text: &str) -> Vec<PathBuf> {
    files(&place.path().join("lake"))
        .into_iter()
        .filter(|path| {
            let bytes = std::fs::read(path).expect("readable");
            bytes
                .windows(text.len())
                .any(|window| window == text.as_bytes())
        })
        .collect()
}

#[test]
fn a_forgotten_vehicle_is_in_no_row_no_old_version_and_no_byte() {
    let place = first_release();
    let vin = place.sql(&[], "SELECT MIN(vin) AS vin FROM lake.battery_test")[0]["vin"].clone();
    let vin = vin.as_str().expect("a VIN");
    place.write(
        "orders.csv",
        format!(
            "order_no,vin,opened_at,operation,complaint\n\
             W1,GM2BR5G80MK000008,2026-05-01T10:00:00Z,other,cables lent from {vin}\n"
        ),
    );
    load_at(&place, NOW, "orders.csv");
    // Statistics in the log and in the files' own footers name it in the clear.
    assert!(!files_that_name(&place, vin).is_empty());
    let others = place.sql(
        &[],
        &format!("SELECT COUNT(*) AS n FROM lake.vehicle WHERE vin <> '{vin}'"),
    );

    place.run_expecting(0, &["forget", "--lake", "lake", vin]);
    assert_eq!(files_that_name(&place, vin), [] as [PathBuf; 0]);
    for table in ["vehicle", "battery_test", "work_order", "risk_week"] {
        let rows = place.sql(
            &[],
            &format!("SELECT COUNT(*) AS n FROM lake.{table} WHERE vin = '{vin}'"),
        );
        assert_eq!(rows[0]["n"].as_u64(), Some(0), "{table}");
    }
    let mentions = place.sql(
        &[],
        "SELECT complaint FROM lake.work_order WHERE order_no = 'W1'",
    );
    assert_eq!(mentions[0]["complaint"], "forgotten");
    assert_eq!(
        place.sql(&[], "SELECT COUNT(*) AS n FROM lake.vehicle"),
        others
    );
}
