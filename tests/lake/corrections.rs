//! A fact is known again by its key; with another content it is a correction. The newest counts in
//! every query, both stay.

use serde_json::Value;

use crate::workplace::{NOW, Workplace};

const VIN: &str = "GB6HD4H26RK000009";

fn load(place: &Workplace, now: &str, files: &[&str]) -> String {
    let mut arguments = vec!["load", "--lake", "lake", "--now", now];
    arguments.extend(files);
    let output = place.run(&arguments);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_ne!(output.status.code(), Some(2), "{said} {output:?}");
    said
}

fn rows(place: &Workplace, sql: &str) -> Vec<Value> {
    place.sql(&[], sql)
}

fn count(place: &Workplace, table: &str) -> u64 {
    rows(place, &format!("SELECT COUNT(*) AS n FROM {table}"))[0]["n"]
        .as_u64()
        .expect("a count")
}

fn tests_csv(header: &str, technician: &str) -> String {
    let mut text = format!("vin,tested_at,rest_voltage_v,{header}\n");
    for day in 1..=20 {
        text += &format!("{VIN},2026-05-{day:02}T10:00:00Z,12.{day:02},{technician}\n");
    }
    text
}

#[test]
fn one_more_mapped_column_doubles_no_test() {
    let place = Workplace::new();
    place.write("tests.csv", tests_csv("tech", "AB"));
    load(&place, NOW, &["tests.csv"]);
    place.write("tests.csv", tests_csv("technician", "AB"));
    load(&place, NOW, &["tests.csv"]);
    assert_eq!(count(&place, "battery_test"), 20);
    assert_eq!(count(&place, "battery_test WHERE technician = 'AB'"), 20);
    // Both stay.
    assert_eq!(count(&place, "lake.battery_test"), 40);
    // Neither file adds anything when it comes again.
    place.write("earlier/tests.csv", tests_csv("tech", "AB"));
    load(&place, NOW, &["tests.csv", "earlier"]);
    assert_eq!(count(&place, "lake.battery_test"), 40);
    assert_eq!(count(&place, "battery_test WHERE technician = 'AB'"), 20);
}

#[test]
fn a_corrected_value_counts_from_the_load_that_brought_it() {
    let place = Workplace::new();
    let test =
        |volts: &str| format!("vin,tested_at,rest_voltage_v\n{VIN},2026-05-01T10:00:00Z,{volts}\n");
    place.write("a.csv", test("12.1"));
    load(&place, "2026-05-02T08:00:00Z", &["a.csv"]);
    place.write("b.csv", test("12.6"));
    load(&place, "2026-05-09T08:00:00Z", &["b.csv"]);
    place.write("c.csv", test("12.7"));
    load(&place, "2026-05-16T08:00:00Z", &["c.csv"]);
    let volts = |arguments: &[&str]| -> Vec<f64> {
        place
            .sql(arguments, "SELECT rest_voltage_v AS v FROM battery_test")
            .iter()
            .filter_map(|row| row["v"].as_f64())
            .collect()
    };
    assert_eq!(volts(&[]), [12.7]);
    // The fact is of 1 May, whatever day it is looked back from; what was known of it is another matter.
    assert_eq!(volts(&["--as-of", "2026-05-03"]), [12.7]);
    assert_eq!(volts(&["--known-by", "2026-05-15"]), [12.6]);
    assert_eq!(volts(&["--known-by", "2026-05-08"]), [12.1]);
    assert_eq!(volts(&["--known-by", "2026-05-01"]), [0.0; 0]);
    assert_eq!(count(&place, "lake.battery_test"), 3);
}

#[test]
fn check_and_the_history_say_what_was_corrected_when_and_by_which_file() {
    let place = Workplace::new();
    place.write(
        "register.csv",
        format!("vin,seen_on,depot,in_service_date\n{VIN},2026-04-01,Yard,2022-01-01\n"),
    );
    let tests = |volts: &str, shop: &str| {
        format!("vin,tested_at,rest_voltage_v,shop\n{VIN},2026-05-01T10:00:00Z,{volts},{shop}\n")
    };
    place.write("a.csv", tests("12.1", "Wexmoor"));
    load(&place, "2026-05-02T08:00:00Z", &["register.csv", "a.csv"]);
    place.write("mended.csv", tests("12.6", "Wexmoor"));
    place.write(
        "weather.csv",
        "depot,day,mean_temperature_c\nYard,2026-05-01,9\n",
    );
    load(
        &place,
        "2026-05-09T08:00:00Z",
        &["mended.csv", "weather.csv"],
    );
    let check = place.run(&["check", "--lake", "lake"]);
    let said = String::from_utf8_lossy(&check.stdout).into_owned();
    let line = said
        .lines()
        .find(|line| line.contains("battery_test") && line.contains("load 2026-05-09"));
    assert!(
        line.is_some_and(|line| line.contains("mended.csv")),
        "{said}"
    );

    let history = |arguments: &[&str], out: &str| {
        let mut all = vec!["history", "--lake", "lake", VIN, "--out", out];
        all.extend(arguments);
        place.run_expecting(0, &all);
        let folder = std::fs::read_dir(place.path().join(out))
            .expect("readable")
            .flatten();
        let report = folder
            .map(|entry| entry.path().join("history.md"))
            .find(|path| path.is_file());
        std::fs::read_to_string(report.expect("a report")).expect("readable")
    };
    let told = history(&[], "all");
    let row = told
        .lines()
        .find(|line| line.contains("mended.csv"))
        .expect("a correction");
    for part in [
        "2026-05-09",
        "line 2",
        "battery test",
        "2026-05-01",
        "was 12.1, is 12.6",
    ] {
        assert!(row.contains(part), "{part}: {row}");
    }
    assert!(!row.contains("shop"), "what stayed is no correction: {row}");
    let before = history(&["--known-by", "2026-05-08"], "before");
    assert!(
        before.contains("No fact of it has been corrected"),
        "{before}"
    );
    // To others neither the file's name nor what was typed.
    let shared = history(&["--share"], "shared");
    let row = shared
        .lines()
        .find(|line| line.contains("2026-05-09 |"))
        .expect("a correction");
    assert!(
        row.contains("rest") && !row.contains("12.1") && !row.contains("mended"),
        "{row}"
    );
}

#[test]
fn an_order_exported_while_open_and_again_when_closed_is_one_order() {
    let place = Workplace::new();
    let header = "order_no,vin,opened_at,closed_at,operation,labour_hours\n";
    let line = |closed: &str, hours: &str| {
        format!("{header}W1,{VIN},2026-05-01T10:00:00Z,{closed},battery replaced,{hours}\n")
    };
    place.write("open.csv", line("", ""));
    load(&place, NOW, &["open.csv"]);
    place.write("closed.csv", line("2026-05-03T09:00:00Z", "0.5"));
    load(&place, NOW, &["closed.csv"]);
    let orders = rows(&place, "SELECT closed_at, labour_hours FROM work_order");
    assert_eq!(orders.len(), 1, "{orders:?}");
    assert_eq!(orders[0]["labour_hours"].as_f64(), Some(0.5));
    // On the day between it was open, and known as such.
    let then = place.sql(
        &["--as-of", "2026-05-02"],
        "SELECT order_no, closed_at FROM work_order",
    );
    assert_eq!(then.len(), 1);
    assert!(then[0]["closed_at"].is_null(), "{then:?}");
}

#[test]
fn two_lines_of_one_order_and_two_tests_of_one_day_are_two_facts() {
    let place = Workplace::new();
    place.write(
        "orders.csv",
        format!(
            "order_no,vin,opened_at,operation,module_address\n\
             W1,{VIN},2026-05-01T10:00:00Z,module replaced,10\n\
             W1,{VIN},2026-05-01T10:00:00Z,module replaced,20\n"
        ),
    );
    place.write(
        "tests.csv",
        format!("vin,tested_at,rest_voltage_v\n{VIN},2026-05-01,11.9\n{VIN},2026-05-01,12.6\n"),
    );
    load(&place, NOW, &["orders.csv", "tests.csv"]);
    assert_eq!(count(&place, "work_order"), 2);
    assert_eq!(count(&place, "battery_test"), 2);
    // Exported again with one more column, each line corrects its own.
    place.write(
        "tests.csv",
        format!(
            "vin,tested_at,rest_voltage_v,shop\n{VIN},2026-05-01,11.9,S\n{VIN},2026-05-01,12.6,S\n"
        ),
    );
    load(&place, NOW, &["tests.csv"]);
    let volts = rows(
        &place,
        "SELECT rest_voltage_v AS v FROM battery_test WHERE shop = 'S' ORDER BY v",
    );
    assert_eq!(volts.len(), 2);
    assert_eq!(count(&place, "battery_test"), 2);
}
