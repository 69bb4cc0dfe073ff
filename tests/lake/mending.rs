//! Quarantined rows are written out, mended and loaded again; where each first stood is kept.

use serde_json::Value;

use crate::workplace::Workplace;

const HEADER: &str = "vin;tested_at;rest_voltage_v;temperature_c;shop";
const SOUND: &str = "GB6HD4H26RK000009;2026-05-01T10:00:00Z;12.1;20;Wexmoor";
/// Without a day, without a vehicle and quoted, and with one cell that cannot be read.
const BAD: [&str; 3] = [
    "GM2BR5G80MK000008;someday;12.2;20;Wexmoor",
    "nobody;2026-05-03T10:00:00Z;12.3;20;\"Ost; \"\"Yard\"\"\"",
    "GM2BR5G80MK000008;2026-05-04T10:00:00Z;12.4;####;Wexmoor",
];
const MENDED: [(&str, &str); 3] = [
    ("someday", "2026-05-02T10:00:00Z"),
    ("nobody", "GM2BR5G80MK000008"),
    ("####", "20"),
];

/// A place whose lake has one sound test, two quarantined ones and one that lacks a cell.
fn place() -> Workplace {
    let place = Workplace::new();
    let text = format!(
        "made by the tester\n{HEADER}\n{SOUND}\n{}\n",
        BAD.join("\n")
    );
    place.write("dumps/tests.csv", text);
    place.write("lake/mappings/tester.toml", MAPPING);
    load(&place, 1, "2026-06-01T06:00:00Z", "dumps");
    assert_eq!(quarantined(&place).len(), 3);
    place
}

const MAPPING: &str = "kind = \"battery_test\"\nfiles = [\"tests*.csv\"]\nskip_lines = 1\n\n\
     [columns.vin]\nfield = \"vin\"\n[columns.tested_at]\nfield = \"tested_at\"\n\
     [columns.rest_voltage_v]\nfield = \"rest_voltage_v\"\n[columns.temperature_c]\nfield = \"temperature_c\"\n[columns.shop]\nfield = \"shop\"\n";

fn load(place: &Workplace, code: i32, now: &str, what: &str) {
    place.run_expecting(code, &["load", "--lake", "lake", "--now", now, what]);
}

fn quarantined(place: &Workplace) -> Vec<Value> {
    place.sql(
        &[],
        "SELECT file, line, reason FROM quarantine ORDER BY line",
    )
}

fn volts(place: &Workplace) -> Vec<f64> {
    let query =
        "SELECT rest_voltage_v AS v FROM battery_test WHERE rest_voltage_v IS NOT NULL ORDER BY v";
    place
        .sql(&[], query)
        .iter()
        .filter_map(|row| row["v"].as_f64())
        .collect()
}

/// Mends so many of the rows in the files that are written out.
fn mend(place: &Workplace, folder: &str, number: usize) {
    let written = place.run_expecting(0, &["mend", "--lake", "lake", "--out", folder]);
    assert_eq!(written.lines().count(), 1, "{written}");
    let name = format!("{folder}/dumps/tests.csv");
    let mut text = place.read(&name);
    for (wrong, right) in &MENDED[..number] {
        assert!(text.contains(wrong), "{text}");
        text = text.replace(wrong, right);
    }
    place.write(&name, text);
}

#[test]
fn a_mended_row_leaves_the_quarantine_and_comes_from_where_it_first_stood() {
    let place = place();
    mend(&place, "to-mend", 3);
    load(&place, 0, "2026-06-08T06:00:00Z", "to-mend");
    assert_eq!(volts(&place), [12.1, 12.2, 12.3, 12.4]);
    assert_eq!(quarantined(&place), [] as [Value; 0]);
    let from = place.sql(
        &[],
        "SELECT from_file, from_line, shop FROM lake.battery_test
         WHERE temperature_c IS NOT NULL ORDER BY from_line",
    );
    let lines: Vec<Option<u64>> = from.iter().map(|row| row["from_line"].as_u64()).collect();
    assert_eq!(lines, [Some(3), Some(4), Some(5), Some(6)]);
    assert!(
        from.iter().all(|row| row["from_file"] == "dumps/tests.csv"),
        "{from:?}"
    );
    assert_eq!(from[2]["shop"], "Ost; \"Yard\"");
    // The row that lacked a cell is the same test, corrected.
    assert_eq!(place.sql(&[], "SELECT vin FROM battery_test").len(), 4);
    // Nothing is thrown away, and a second time adds nothing.
    let kept = || {
        place
            .sql(&[], "SELECT line, mended FROM lake.quarantine")
            .len()
    };
    assert_eq!(kept(), 6);
    load(&place, 0, "2026-06-09T06:00:00Z", "to-mend");
    assert_eq!(kept(), 6);
    // The first file again: its rows stay mended.
    load(&place, 1, "2026-06-10T06:00:00Z", "dumps");
    assert_eq!((quarantined(&place).len(), volts(&place).len()), (0, 4));
    // Taken back, the rows are in quarantine as before.
    place.run_expecting(
        0,
        &["unload", "--lake", "lake", "2026-06-08T06:00:00.000000Z"],
    );
    assert_eq!(
        (quarantined(&place).len(), volts(&place)),
        (3, vec![12.1, 12.4])
    );
}

#[test]
fn what_is_not_mended_stays_where_it_first_stood_and_can_be_mended_later() {
    let place = place();
    mend(&place, "to-mend", 1);
    load(&place, 1, "2026-06-08T06:00:00Z", "to-mend");
    assert_eq!(volts(&place), [12.1, 12.2, 12.4]);
    let left = quarantined(&place);
    let lines: Vec<Option<u64>> = left.iter().map(|row| row["line"].as_u64()).collect();
    assert_eq!(lines, [Some(5), Some(6)]);
    assert!(
        left.iter().all(|row| row["file"] == "dumps/tests.csv"),
        "{left:?}"
    );
    assert_eq!(place.sql(&[], "SELECT line FROM lake.quarantine").len(), 4);
    place.run_expecting(0, &["mend", "--lake", "lake", "--out", "again"]);
    let text = place.read("again/dumps/tests.csv");
    assert_eq!(text.matches("dumps/tests.csv:5 ").count(), 1, "{text}");
    let (nobody, somebody) = MENDED[1];
    place.write("again/dumps/tests.csv", text.replace(nobody, somebody));
    load(&place, 0, "2026-06-09T06:00:00Z", "again");
    assert_eq!(volts(&place), [12.1, 12.2, 12.3, 12.4]);
    // Before they came, what was known is what was known then.
    let then = place.sql(&["--known-by", "2026-06-07"], "SELECT line FROM quarantine");
    assert_eq!(then.len(), 3);
}

#[test]
fn objects_are_mended_too_and_a_folder_that_is_there_is_not_written_into() {
    let place = Workplace::new();
    place.write(
        "tests.jsonl",
        "{\"vin\":\"GM2BR5G80MK000008\",\"tested_at\":\"someday\",\"rest_voltage_v\":12.2}\n",
    );
    load(&place, 1, "2026-06-01T06:00:00Z", "tests.jsonl");
    place.run_expecting(0, &["mend", "--lake", "lake", "--out", "to-mend"]);
    let text = place.read("to-mend/tests.jsonl");
    place.write(
        "to-mend/tests.jsonl",
        text.replace("someday", "2026-05-02T10:00:00Z"),
    );
    assert_eq!(
        place
            .run(&["mend", "--lake", "lake", "--out", "to-mend"])
            .status
            .code(),
        Some(2)
    );
    load(&place, 0, "2026-06-08T06:00:00Z", "to-mend");
    assert_eq!((volts(&place), quarantined(&place).len()), (vec![12.2], 0));
    let check = place.run(&["check", "--lake", "lake"]);
    let said = String::from_utf8_lossy(&check.stdout).into_owned();
    assert!(!said.contains("voltwane mend"), "{said}");
}

#[test]
fn names_of_files_lead_nowhere_else() {
    let place = Workplace::new();
    place.write("elsewhere/in.csv", format!("{HEADER}\n{}\n", BAD[0]));
    place.write("work/x", "");
    let from = place
        .path()
        .join("work/../elsewhere/in.csv")
        .display()
        .to_string();
    load(&place, 1, "2026-06-01T06:00:00Z", &from);
    let written = place.run_expecting(0, &["mend", "--lake", "lake", "--out", "to-mend"]);
    let written: Vec<&str> = written.lines().collect();
    assert_eq!(written.len(), 1);
    assert!(
        written[0].starts_with("to-mend/") && !written[0].contains(".."),
        "{written:?}"
    );
    assert!(place.path().join(written[0]).is_file());
}
