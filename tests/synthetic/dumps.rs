//! The dumps as intake reads them.

use std::collections::BTreeSet;

use super::{DEMO, LARGE, LOADED, LOADED_LARGE, number};

/// Every spoilt row is quarantined, except duplicates and tests without a rating, which are sound.
#[test]
fn what_was_spoilt_is_what_intake_refuses() {
    for (fleet, loaded) in [(&DEMO.summary, &LOADED), (&LARGE.summary, &LOADED_LARGE)] {
        assert_eq!(loaded.read, fleet.n_rows());
        let sound = fleet.dirty["duplicate"] + fleet.dirty["missing rating"];
        assert_eq!(
            loaded.quarantined,
            fleet.n_dirty() - sound,
            "{:?}",
            fleet.dirty
        );
    }
}

#[test]
fn two_to_four_rows_in_a_hundred_are_spoilt_in_every_way() {
    for summary in [&DEMO.summary, &LARGE.summary] {
        let share = summary.n_dirty() as f64 / summary.n_rows() as f64;
        assert!((0.02..=0.04).contains(&share), "{share}");
        assert_eq!(summary.dirty.len(), 7, "{:?}", summary.dirty);
    }
}

#[test]
fn every_table_is_fed_by_every_shop() {
    for table in ["battery_test", "code_scan", "work_order"] {
        let shops: BTreeSet<&str> = LOADED.tables[table]
            .iter()
            .map(|row| row["shop"].as_str())
            .collect();
        let named = [
            "Corlund",
            "Draywright",
            "Mervane",
            "Oxhelm",
            "Tolbrax",
            "Yarrowby",
        ];
        assert!(shops.iter().eq(&named), "{table}: {shops:?}");
    }
    let depots: BTreeSet<&str> = LOADED.tables["depot_weather"]
        .iter()
        .map(|row| row["depot"].as_str())
        .collect();
    assert_eq!(depots.len(), 8, "{depots:?}");
}

/// Each shop measures with its own instrument, so all forms of a reading come in.
#[test]
fn readings_of_six_kinds_come_in() {
    let kinds: BTreeSet<&str> = LOADED.tables["battery_test"]
        .iter()
        .filter_map(|row| row.get("measured_kind").map(String::as_str))
        .collect();
    let expected = [
        "CCA EN",
        "CCA JIS",
        "CCA SAE",
        "conductance S",
        "load test V",
        "resistance mOhm",
    ];
    assert!(kinds.iter().eq(&expected), "{kinds:?}");
}

#[test]
fn events_lie_within_the_weeks_of_the_dumps() {
    for (table, column) in [
        ("battery_test", "tested_at"),
        ("code_scan", "scanned_at"),
        ("work_order", "opened_at"),
    ] {
        for row in &LOADED.tables[table] {
            let day = &row[column][..10];
            assert!(
                ("2023-07-03"..="2026-06-28").contains(&day),
                "{table} {day}"
            );
        }
    }
}

/// Shops work by day where they are: a zone that is read wrongly would move visits into the night.
#[test]
fn shops_work_by_day() {
    for row in &LOADED.tables["code_scan"] {
        let hour: i64 = row["scanned_at"][11..13].parse().expect("an hour");
        let ahead = match row["shop"].as_str() {
            "Corlund" => -6,
            "Mervane" => 1,
            "Yarrowby" => 5,
            "Oxhelm" | "Draywright" => -7,
            _ => 0,
        };
        assert!(
            (6..=18).contains(&(hour + ahead)),
            "{} {}",
            row["shop"],
            row["scanned_at"]
        );
    }
}

#[test]
fn summers_are_warmer_than_winters() {
    let mean = |depot: &str, months: &[&str]| {
        let days: Vec<f64> = LOADED.tables["depot_weather"]
            .iter()
            .filter(|row| row["depot"] == depot && months.contains(&&row["day"][5..7]))
            .map(|row| number(row, "mean_temperature_c"))
            .collect();
        days.iter().sum::<f64>() / days.len() as f64
    };
    let (summer, winter) = (mean("Northfell", &["07"]), mean("Northfell", &["01"]));
    assert!((13.0..21.0).contains(&summer), "{summer}");
    assert!((-15.0..-6.0).contains(&winter), "{winter}");
    assert!(mean("Cindermoor", &["07"]) > summer + 10.0);
}

/// Odometers never run backwards, whatever the shop's unit: miles are rounded to whole ones.
#[test]
fn odometers_go_forwards() {
    let mut scans: Vec<_> = LOADED.tables["code_scan"].iter().collect();
    scans.sort_by_key(|row| (&row["vin"], &row["scanned_at"]));
    let mut compared = 0;
    for pair in scans
        .windows(2)
        .filter(|pair| pair[0]["vin"] == pair[1]["vin"])
    {
        let (before, after) = (
            number(pair[0], "odometer_km"),
            number(pair[1], "odometer_km"),
        );
        assert!(
            after >= before - 2.0,
            "{} {before} then {after}",
            pair[0]["vin"]
        );
        compared += 1;
    }
    assert!(compared > 1000, "{compared}");
}
