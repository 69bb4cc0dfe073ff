//! The truth's recovery steps are those that can be read from the dumps.

use std::collections::{BTreeMap, BTreeSet};

use super::{LARGE, LOADED_LARGE, Row, instant};

/// The steps of each case.
fn cases() -> BTreeMap<(String, String), Vec<&'static Row>> {
    let mut cases: BTreeMap<_, Vec<&Row>> = BTreeMap::new();
    for row in LARGE.truth("recovery") {
        cases
            .entry((row["vin"].clone(), row["case"].clone()))
            .or_default()
            .push(row);
    }
    cases
}

#[test]
fn every_case_opens_once_and_no_step_comes_twice() {
    let cases = cases();
    assert!(cases.len() > 500, "{} cases", cases.len());
    for (case, steps) in &cases {
        let names: BTreeSet<&str> = steps.iter().map(|step| step["what"].as_str()).collect();
        assert_eq!(names.len(), steps.len(), "{case:?}");
        assert!(names.contains("opened"), "{case:?}");
    }
}

/// Scans, tests and orders of the good rows hold each step at its very instant.
#[test]
fn every_step_can_be_found_in_the_dumps() {
    let at =
        |table: &str, id: &str, time: &str| -> BTreeSet<(String, String, chrono::NaiveDateTime)> {
            LOADED_LARGE.tables[table]
                .iter()
                .map(|row| {
                    (
                        row["vin"].clone(),
                        row.get(id).cloned().unwrap_or_default(),
                        instant(&row[time]),
                    )
                })
                .collect()
        };
    let scans = at("code_scan", "scan_id", "scanned_at");
    let orders = at("work_order", "order_no", "opened_at");
    let tests = at("battery_test", "", "tested_at");
    let (mut checked, mut spoilt) = (0, 0);
    for step in LARGE.truth("recovery") {
        let id = step.get("ids").cloned().unwrap_or_default();
        let key = (step["vin"].clone(), id, instant(&step["happened_at"]));
        checked += 1;
        let found = scans.contains(&key) || orders.contains(&key) || tests.contains(&key);
        // Only rows of tests are spoilt in place.
        assert!(found || step["what"] == "supply tested", "{step:?}");
        spoilt += usize::from(!found);
    }
    assert!(checked > 3000, "{checked} steps");
    assert!(spoilt * 100 < checked * 3, "{spoilt} of {checked} steps");
}

/// Most recoveries are proven, a good part is not: both the follower and the nagger have work.
#[test]
fn some_recoveries_are_proven_and_some_are_not() {
    let cases = cases();
    let proven = cases
        .values()
        .filter(|steps| steps.iter().any(|step| step["what"] == "proven"))
        .count();
    let share = proven as f64 / cases.len() as f64;
    assert!((0.4..0.85).contains(&share), "{share} proven");
}

/// A module that was replaced for what the battery did stands in an order without a battery test.
#[test]
fn wrong_parts_are_replaced_without_a_battery_test() {
    let mut modules = 0;
    let wrong = LARGE.truth("wrong_part");
    for part in wrong.iter().filter(|part| part["what"] == "module") {
        let operations: Vec<&str> = LOADED_LARGE.tables["work_order"]
            .iter()
            .filter(|row| row["order_no"] == part["ids"])
            .map(|row| row["operation"].as_str())
            .collect();
        assert!(
            operations.contains(&"module replaced"),
            "{part:?} {operations:?}"
        );
        assert!(
            !operations.contains(&"battery tested"),
            "{part:?} {operations:?}"
        );
        modules += 1;
    }
    assert!(modules > 20, "{modules} modules");
    assert!(
        wrong.len() > modules,
        "no battery was replaced for a dead module"
    );
}
