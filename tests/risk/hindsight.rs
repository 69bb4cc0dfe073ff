//! What a row of vehicle_week says was known on its day must not change with what came later: every
//! later fact is moved by a month, and the rows up to that day must stay as they are.

use std::collections::BTreeMap;

use chrono::{DateTime, Days, NaiveDate, Utc};
use serde_json::Value;

use super::invented_fleet;
use crate::workplace::Workplace;

/// Days after which a fact is later are those after this one.
const CUT: &str = "2026-01-11";
const MOVED_DAYS: u64 = 30;

/// The fact tables, and the day they say more of than that they happened: all are moved if later.
const TABLES: [&str; 6] = [
    "vehicle",
    "battery_test",
    "code_scan",
    "trouble_code",
    "work_order",
    "depot_weather",
];

/// What a row knew, and which row it is.
const KNOWN: &str = "vin, position, CAST(known_on AS VARCHAR) AS known_on, ROUND(age_days, 6) AS age_days, \
    uncertainty_days, failed_before, CAST(tested_on AS VARCHAR) AS tested_on, verdict, rest_voltage_v, \
    state_of_charge, health, CAST(health_on AS VARCHAR) AS health_on, health_tests, \
    ages_read, healths_read, found_discharged, calls, charges, supply_sessions_28, supply_sessions_91, supply_sessions_364, \
    lost_sessions_91, supply_floods_91, supply_floods_364, sessions_91, sessions_364, least_supply_v_91, \
    ROUND(km_per_day, 9) AS km_per_day, ROUND(heat, 9) AS heat, ROUND(cold_ahead, 9) AS cold_ahead, \
    ROUND(cold_ahead_variance, 6) AS cold_ahead_variance, years_ahead, \
    coldest_28, coldest_91, coldest_182, coldest_364, coldest_728, ROUND(heat_ahead, 9) AS heat_ahead";

/// The tests that the model looks at in a row.
const TESTS_READ: &str = "SELECT p.vin, p.position, p.periods_back, ROUND(SUM(t.age_years), 9) AS ages_read, \
    ROUND(SUM(t.age_years * t.health_read), 9) AS healths_read \
    FROM vehicle_week p JOIN test_history t ON t.vin = p.vin AND t.position = p.position \
    AND t.battery_no = p.battery_no AND t.tested_on <= p.known_on AND t.health_read IS NOT NULL \
    GROUP BY p.vin, p.position, p.periods_back";

/// A day or instant after the cut, moved; anything else as it is.
fn moved(text: &str) -> String {
    let cut: NaiveDate = CUT.parse().expect("a day");
    if let Ok(day) = text.parse::<NaiveDate>() {
        return match day > cut {
            true => (day + Days::new(MOVED_DAYS)).to_string(),
            false => text.to_owned(),
        };
    }
    match text.parse::<DateTime<Utc>>() {
        Ok(instant) if instant.date_naive() > cut => (instant + Days::new(MOVED_DAYS)).to_rfc3339(),
        _ => text.to_owned(),
    }
}

fn csv_of(place: &Workplace, query: &str) -> Vec<csv::StringRecord> {
    let text = place.run_expecting(0, &["sql", "--lake", "lake", "--format", "csv", query]);
    csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_bytes())
        .records()
        .map(|record| record.expect("a row"))
        .collect()
}

/// The same lake with every later fact moved.
fn moved_lake(place: &Workplace) -> Workplace {
    let other = Workplace::new();
    for table in TABLES {
        let query = format!("SELECT * EXCEPT (load_id, row_hash) FROM lake.{table}");
        let query = match table {
            "vehicle" | "depot_weather" => query,
            _ => query.replace("row_hash", "row_hash, event_year"),
        };
        let mut writer = csv::Writer::from_writer(Vec::new());
        for record in csv_of(place, &query) {
            writer
                .write_record(record.iter().map(moved))
                .expect("a row");
        }
        let bytes = writer.into_inner().expect("written");
        other.write(&format!("dumps/{table}.csv"), bytes);
    }
    // What is moved beyond the present is quarantined: a later fact that is gone is a change too.
    other.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    other
}

fn known_then(place: &Workplace) -> BTreeMap<String, Value> {
    place
        .sql(
            &["--as-of", "2026-06-28"],
            &format!(
                "SELECT {KNOWN} FROM vehicle_week LEFT JOIN ({TESTS_READ}) USING (vin, position, periods_back) \
                 WHERE known_on <= DATE '{CUT}'"
            ),
        )
        .into_iter()
        .map(|row| {
            (
                format!("{} {} {}", row["vin"], row["position"], row["known_on"]),
                row,
            )
        })
        .collect()
}

#[test]
fn later_facts_change_nothing_that_was_known() {
    let place = invented_fleet("60", "80");
    let before = known_then(&place);
    let after = known_then(&moved_lake(&place));
    let shared: Vec<&String> = before
        .keys()
        .filter(|key| after.contains_key(*key))
        .collect();
    // A battery's outcome may change and with it where its rows end, but hardly ever.
    assert!(before.len() > 500, "{} rows", before.len());
    assert!(
        shared.len() as f64 > 0.97 * before.len() as f64,
        "{} of {}",
        shared.len(),
        before.len()
    );
    for key in shared {
        assert_eq!(before[key], after[key], "{key} knew what came later");
    }
    // The rows do hold something that could have leaked.
    assert!(
        before
            .values()
            .any(|row| row["health_tests"].as_f64() > Some(1.0))
    );
    assert!(
        before
            .values()
            .any(|row| row["supply_sessions_364"].as_f64() > Some(0.0))
    );
}
