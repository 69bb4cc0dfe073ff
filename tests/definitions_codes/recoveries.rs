//! Recoveries end: by a clean scan after a quiet time, or as not followed up.

use super::{Dumps, SCAN, Scan, moment};

/// Codes of low voltage and lost communication from eight modules.
fn supply_flood() -> Vec<(String, String)> {
    (0..8)
        .flat_map(|module| {
            let address = format!("{:02X}", 0x10 + module);
            [
                (address.clone(), "U3003".to_owned()),
                (address, format!("U01{:02}", 10 + module)),
            ]
        })
        .collect()
}

const END_STOP: Scan = Scan {
    km_since_clear: 65_535.0,
    ..SCAN
};

/// Vehicles that say nothing, so that what is usual is known.
fn quiet_fleet() -> Dumps {
    let mut dumps = Dumps::new();
    for number in 100..160 {
        let vin = dumps.vehicle(number, "One", "2023-06-01");
        for scan in 0..3 {
            dumps.scan(&vin, &moment(scan * 200 + number as u64, 0), SCAN, &[]);
        }
    }
    dumps
}

#[test]
fn a_recovery_ends_where_the_vehicle_is_well_or_nobody_followed_it_up() {
    let mut dumps = quiet_fleet();
    let flooded = |dumps: &mut Dumps, number: usize, at: u64| {
        let vin = dumps.vehicle(number, "One", "2023-06-01");
        dumps.scan(&vin, &moment(at - 200, 0), SCAN, &[]);
        dumps.scan(&vin, &moment(at, 0), SCAN, &supply_flood());
        vin
    };
    // Cleared the same day, no order says charged, clean ever since with the counter at its end stop.
    let well = flooded(&mut dumps, 1, 300);
    dumps.order(&well, &moment(300, 90), "codes cleared", "supply");
    for at in [400, 600, 800] {
        dumps.scan(&well, &moment(at, 0), END_STOP, &[]);
    }
    // Nothing was ever written down, and a clean scan came months later.
    let unwritten = flooded(&mut dumps, 2, 300);
    dumps.scan(&unwritten, &moment(380, 0), SCAN, &[]);
    // Clean, and the monitors have not run.
    let unready = flooded(&mut dumps, 3, 850);
    dumps.scan(&unready, &moment(890, 0), Scan { ready: 3, ..SCAN }, &[]);
    // Never seen again.
    flooded(&mut dumps, 4, 300);
    // Charged, and it came back: to be tested anew.
    let back = flooded(&mut dumps, 5, 850);
    dumps.order(&back, &moment(850, 90), "battery tested", "supply");
    dumps.order(&back, &moment(850, 95), "battery charged", "supply");
    dumps.order(&back, &moment(850, 120), "codes cleared", "supply");
    dumps.order(&back, &moment(860, 0), "no-start call", "supply");
    let place = dumps.load();

    let cases = place.sql(
        &["--as-of", "2026-06-28"],
        "SELECT vin, ended, open, proven_on, next_step, comebacks FROM recovery_case ORDER BY vin",
    );
    let told: Vec<(String, Option<String>, Option<String>)> = cases
        .iter()
        .map(|row| {
            let text = |name: &str| row[name].as_str().map(str::to_owned);
            assert_eq!(
                row["open"].as_bool(),
                Some(text("ended").is_none()),
                "{row}"
            );
            (
                text("vin").expect("a VIN"),
                text("ended"),
                text("next_step"),
            )
        })
        .collect();
    let case = |number: usize, ended: Option<&str>, step: Option<&str>| {
        (
            super::vin(number),
            ended.map(str::to_owned),
            step.map(str::to_owned),
        )
    };
    let mut expected = vec![
        case(1, Some("proven"), None),
        case(2, Some("proven"), None),
        case(3, None, Some("charge and test")),
        case(4, Some("not followed up"), None),
        case(5, None, Some("charge and test")),
    ];
    expected.sort();
    assert_eq!(told, expected, "{cases:?}");
    let proven = |number: usize| {
        let found = cases.iter().find(|row| row["vin"] == super::vin(number));
        found
            .and_then(|row| row["proven_on"].as_str())
            .map(str::to_owned)
    };
    assert_eq!(proven(1), Some(super::day(400)));
    assert_eq!(proven(2), Some(super::day(380)));
    let back = cases
        .iter()
        .find(|row| row["vin"] == super::vin(5))
        .expect("a case");
    assert_eq!(back["comebacks"].as_i64(), Some(1));
}
