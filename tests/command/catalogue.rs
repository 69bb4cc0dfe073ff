//! What tables there are and what their columns mean, told without making one.

use std::collections::{BTreeMap, BTreeSet};

use super::small_fleet;

/// Tables by name, with the columns by name and what is said of each.
fn listed(text: &str) -> BTreeMap<String, BTreeMap<String, String>> {
    let mut tables: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    let mut last = String::new();
    for line in text.lines() {
        match line.strip_prefix("    ") {
            Some(column) => {
                let (name, rest) = column.split_once(" (").expect("a kind");
                let columns = tables.entry(last.clone()).or_default();
                columns.insert(name.to_owned(), rest.to_owned());
            }
            None => {
                last = line.split(':').next().expect("a name").to_owned();
                tables.entry(last.clone()).or_default();
                assert!(
                    line.ends_with(['.', '?']) || line.contains("one row is"),
                    "a sentence is cut: {line}"
                );
            }
        }
    }
    tables
}

#[test]
fn the_list_says_what_every_column_means() {
    let text = small_fleet().run_expecting(0, &["sql", "--lake", "lake", "--list"]);
    let tables = listed(&text);
    for (table, columns) in &tables {
        for (column, said) in columns {
            assert!(
                said.contains("): "),
                "queries/columns.toml has no line for {column} of {table}"
            );
        }
    }
}

/// Every line of the file is of a column that there is.
#[test]
fn no_meaning_is_of_a_column_that_is_gone() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/queries/columns.toml");
    let file: toml::Table = std::fs::read_to_string(file)
        .expect("readable")
        .parse()
        .expect("TOML");
    let text = small_fleet().run_expecting(0, &["sql", "--lake", "lake", "--list"]);
    let tables = listed(&text);
    for (name, value) in &file {
        match value.as_table() {
            Some(own) => {
                for column in own.keys() {
                    assert!(
                        tables[name].contains_key(column),
                        "{name} has no column {column}"
                    );
                }
            }
            None => {
                let any = tables.values().any(|columns| columns.contains_key(name));
                assert!(any, "no table has a column {name}");
            }
        }
    }
}

#[test]
fn one_table_can_be_asked_for_and_sql_knows_the_usual_words() {
    let place = small_fleet();
    let one = place.run_expecting(0, &["sql", "--lake", "lake", "--list", "test_verdict"]);
    assert!(
        one.starts_with("test_verdict: One row is one battery test"),
        "{one}"
    );
    assert_eq!(listed(&one).len(), 1);
    let described = place.sql(&[], "DESCRIBE test_verdict");
    assert_eq!(described.len(), listed(&one)["test_verdict"].len());
    let verdict = described
        .iter()
        .find(|row| row["column"] == "verdict")
        .expect("the column");
    assert_eq!(verdict["kind"], "text");
    let shown = place.sql(&[], "SHOW TABLES");
    assert!(shown.iter().any(|row| row["table"] == "battery_risk"));
    // The whole of a raw table has the columns that a query of it gives, each with its meaning.
    let whole = place.sql(&[], "DESCRIBE lake.battery_test");
    let told: BTreeSet<&str> = whole
        .iter()
        .filter_map(|row| row["column"].as_str())
        .collect();
    let query = "SELECT * FROM lake.battery_test LIMIT 1";
    let csv = place.run_expecting(0, &["sql", "--lake", "lake", "--format", "csv", query]);
    let given: BTreeSet<&str> = csv.lines().next().expect("a header").split(',').collect();
    assert_eq!(told, given);
    assert!(whole.iter().all(|row| row["meaning"] != ""), "{whole:?}");
    let unknown = place.run(&["sql", "--lake", "lake", "--list", "lake.no_such"]);
    assert_eq!(unknown.status.code(), Some(2));
    let unknown = place.run(&["sql", "--lake", "lake", "--list", "no_such"]);
    assert_eq!(unknown.status.code(), Some(2));
}

/// The columns that are planned without a row are those the rows have.
#[test]
fn the_list_agrees_with_the_tables_that_are_made() {
    let place = small_fleet();
    for table in [
        "health_fit",
        "battery_chance",
        "battery_plan",
        "test_value",
        "replacement_plan",
    ] {
        let one = place.run_expecting(0, &["sql", "--lake", "lake", "--list", table]);
        let query = format!("SELECT * FROM {table} LIMIT 1");
        let csv = place.run_expecting(0, &["sql", "--lake", "lake", "--format", "csv", &query]);
        let made: BTreeSet<&str> = csv.lines().next().expect("a header").split(',').collect();
        let told: BTreeSet<&str> = listed(&one)[table]
            .keys()
            .map(String::as_str)
            .map(|name| {
                made.get(name)
                    .copied()
                    .unwrap_or("a column that is not there")
            })
            .collect();
        assert_eq!(made, told, "{table}");
    }
}
