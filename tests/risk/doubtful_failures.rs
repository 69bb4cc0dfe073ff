//! What a report says the ranking would be without doubtful failures is what a run that does not count them
//! tells.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::workplace::{Workplace, number};

/// The sample fleet's batteries and the chance that `column` of `table` gives each.
fn chances(place: &Workplace, more: &[&str], table: &str, column: &str) -> BTreeMap<String, f64> {
    let lake = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-lake/tables");
    let query = format!("SELECT vin, position, {column} AS chance FROM {table}");
    let mut asked = vec![
        "sql",
        "--lake",
        lake,
        "--format",
        "json",
        "--as-of",
        "2026-06-28",
    ];
    asked.extend(more);
    asked.push(&query);
    let told = place.run_expecting(0, &asked);
    let rows = told
        .lines()
        .map(|line| serde_json::from_str(line).expect("a row"));
    let rows: Vec<Value> = rows.collect();
    let named = rows.iter().filter(|row| row["chance"].is_number());
    named
        .map(|row| {
            (
                format!("{} {}", row["vin"], row["position"]),
                number(row, "chance"),
            )
        })
        .collect()
}

#[test]
fn chances_without_doubtful_failures_are_those_of_a_run_that_does_not_count_them() {
    let place = Workplace::new();
    place.write("sure.toml", "[run]\ncount_doubtful = false\n");
    let told = chances(&place, &[], "doubtful_effect", "sure_chance");
    let sure = chances(&place, &["--config", "sure.toml"], "battery_risk", "chance");
    assert!(told.len() > 300, "{}", told.len());
    for (battery, chance) in told {
        // How many batteries failed in a place before is a column of its own, and counts them here.
        let ratio = chance / sure[&battery];
        assert!((ratio - 1.0).abs() < 0.05, "{battery}: {ratio}");
    }
}
