//! SQL: every query file runs, answers are read only, mistakes are named.

use super::{shown, small_fleet};
use crate::workplace::Workplace;

#[test]
fn every_query_file_runs_on_a_small_lake() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("queries");
    let mut names: Vec<String> = walkdir::WalkDir::new(folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            name.strip_suffix(".sql").map(str::to_owned)
        })
        .collect();
    names.sort();
    assert!(names.len() > 10, "{names:?}");
    // One run makes every table; a name that the program does not know would fail it.
    let counts: Vec<String> = names
        .iter()
        .map(|name| format!("SELECT '{name}' AS name, COUNT(*) AS rows FROM {name}"))
        .collect();
    let rows = small_fleet().sql(&[], &counts.join(" UNION ALL "));
    assert_eq!(rows.len(), names.len());
    for row in rows {
        // Nothing has been told of this fleet yet, no battery need pay or test be worth its cost this
        // week, and some habits of records and events are rare in a small fleet.
        let empty_is_right = [
            "prediction_record",
            "plan_change",
            "chance_told",
            "last_report_outcome",
            "advice_told",
            "advice_worth",
            "pick_list",
            "test_first",
            "repeat_battery",
            "open_call",
            "told_in_doubt",
            "order_place",
            "standing_code",
            "correction",
            "doubtful_effect",
        ];
        let name = row["name"].as_str().expect("a name");
        assert!(
            row["rows"].as_i64().is_some_and(|rows| rows > 0) || empty_is_right.contains(&name),
            "{row}: the small fleet should give every table rows, or the query finds nothing"
        );
    }
}

#[test]
fn a_query_alone_reads_the_lake() {
    let place = small_fleet();
    for (name, query) in [
        ("count", "SELECT COUNT(*) AS vehicles FROM fleet_vehicle"),
        (
            "bound",
            "SELECT $as_of AS as_of, $horizon_days AS horizon_days, iso_week($as_of) AS week",
        ),
        ("drop", "DROP TABLE vehicle"),
        ("insert", "INSERT INTO vehicle SELECT * FROM vehicle"),
        ("copy", "COPY vehicle TO 'vehicle.csv'"),
        ("two", "SELECT 1; SELECT 2"),
        ("set", "SET datafusion.execution.batch_size = 1"),
        ("no_table", "SELECT * FROM vehicles"),
        ("no_column", "SELECT colour FROM depot_weather"),
        ("not_sql", "show me the money"),
    ] {
        let output = place.run(&["sql", "--lake", "lake", query]);
        insta::assert_snapshot!(format!("sql_{name}"), shown(&output));
    }
}

#[test]
fn queries_can_be_replaced_and_are_checked() {
    let place = small_fleet();
    let own = Workplace::new();
    own.write("good/battery_call.sql", "-- One row is nothing. Reads nothing.\nSELECT vin, 'main' AS position, CAST(opened_at AS DATE) AS called_on, order_no, FALSE AS towed FROM work_order WHERE FALSE");
    own.write("circle/battery_call.sql", "SELECT * FROM battery_life");
    own.write("missing/extra.sql", "SELECT * FROM no_such_table");
    own.write("syntax/extra.sql", "SELEKT 1");
    own.write("write/extra.sql", "DELETE FROM vehicle");
    let run = |folder: &str, query: &str| {
        let path = own.path().join(folder);
        let folder = path.to_str().expect("a path");
        let output = place.run(&["sql", "--lake", "lake", "--queries", folder, query]);
        shown(&output).replace(own.path().to_str().expect("a path"), "OWN")
    };
    insta::assert_snapshot!(
        "queries_good",
        run("good", "SELECT COUNT(*) AS calls FROM battery_call")
    );
    for folder in ["circle", "missing", "syntax", "write"] {
        insta::assert_snapshot!(format!("queries_{folder}"), run(folder, "SELECT 1"));
    }
}

#[test]
fn nothing_later_than_the_day_looked_back_from_is_seen() {
    let rows = small_fleet().sql(
        &["--as-of", "2025-12-31"],
        "SELECT MAX(CAST(tested_at AS DATE)) AS test, (SELECT MAX(CAST(opened_at AS DATE)) FROM work_order) AS opened, \
         (SELECT MAX(CAST(closed_at AS DATE)) FROM work_order) AS closed, (SELECT MAX(seen_on) FROM vehicle) AS seen, \
         (SELECT MAX(left_fleet_date) FROM vehicle) AS gone, (SELECT MAX(exited_on) FROM battery_life) AS exited FROM battery_test",
    );
    for (name, day) in rows[0].as_object().expect("a row") {
        let day = day.as_str().unwrap_or_else(|| panic!("{name} has no day"));
        assert!(day <= "2025-12-31", "{name} is {day}");
        assert!(
            day >= "2025-09-01",
            "{name} is {day}: the view shows too little"
        );
    }
}

#[test]
fn every_example_of_the_readme_answers() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(root.join("README.md")).expect("the README");
    let sample = root.join("sample-lake/tables");
    let sample = sample.to_str().expect("a path in UTF-8");
    let place = Workplace::new();
    let examples: Vec<&str> = readme
        .split("```sql\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert!(examples.len() >= 6, "{} examples", examples.len());
    for example in examples {
        assert!(example.starts_with("-- "), "says what it asks: {example}");
        let rows = place.run_expecting(0, &["sql", "--lake", sample, "--format", "json", example]);
        assert!(!rows.is_empty(), "{example}");
    }
}
