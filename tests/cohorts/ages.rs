//! Cohorts of unlike ages: what is old fails oftener and stands out for nothing; what is worse at the
//! same age does. Fleets written by hand, in which batteries of an age fail alike.

use chrono::{Days, NaiveDate};

use super::{last_day, rows, vin};
use crate::workplace::{Workplace, number};

/// Vehicles of one depot and of one age.
struct Lot {
    depot: &'static str,
    /// First day on the road.
    since: (i32, u32),
    vehicles: usize,
    failures: usize,
}

/// Between three and four years old while observed: one in five fails.
const OLD: (i32, u32) = (2020, 7);
/// Between half a year and one and a half: one in twenty-five.
const NEW: (i32, u32) = (2023, 1);

fn lot(depot: &'static str, since: (i32, u32), vehicles: usize, failures: usize) -> Lot {
    Lot {
        depot,
        since,
        vehicles,
        failures,
    }
}

/// Depots that differ in the age of their vehicles alone.
fn alike() -> Vec<Lot> {
    vec![
        lot("Oldmoor", OLD, 300, 60),
        lot("Newmoor", NEW, 300, 12),
        lot("Bothmoor", OLD, 150, 30),
        lot("Bothmoor", NEW, 150, 6),
    ]
}

/// Observed for the year up to the last day. The failures of a lot are spread over 300 days, and one of
/// each lot lies on the first day of a quarter.
fn lake(lots: &[Lot]) -> Workplace {
    let place = Workplace::new();
    let mut register =
        String::from("vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry\n");
    let mut orders = String::from("order_no,vin,opened_at,closed_at,cause,operation,complaint\n");
    let begin = NaiveDate::from_ymd_opt(2023, 7, 1).expect("a day");
    let mut vehicles = 0;
    for lot in lots {
        let since = NaiveDate::from_ymd_opt(lot.since.0, lot.since.1, 1).expect("a day");
        let apart = 300 / lot.failures as u64;
        for own in 0..lot.vehicles {
            let vin = vin(vehicles);
            register.push_str(&format!(
                "{vin},{},U{vehicles},{},Test,One,combustion,{since},flooded\n",
                last_day(),
                lot.depot
            ));
            orders.push_str(&format!(
                "B{vehicles},{vin},{begin} 08:00:00,{begin} 09:00:00,,other,\n"
            ));
            if own < lot.failures {
                let day = begin + Days::new(apart * (own as u64 + 1));
                for operation in ["no-start call", "battery replaced"] {
                    orders.push_str(&format!(
                        "F{vehicles},{vin},{day} 10:00:00,{day} 12:00:00,supply,{operation},does not start\n"
                    ));
                }
            }
            vehicles += 1;
        }
    }
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

const RATES: &str =
    "SELECT cohort_kind, cohort, period, failures, expected_failures, ratio, adjusted_p, stands_out
    FROM failure_rate";

#[test]
fn a_depot_of_old_batteries_does_not_stand_out_for_their_age() {
    let place = lake(&alike());
    let all = rows(&place, RATES);
    let depot = |name: &str| {
        all.iter()
            .find(|row| row["cohort"] == name && row["period"] == "all")
            .unwrap_or_else(|| panic!("no row of {name}"))
    };
    for (name, failures) in [("Oldmoor", 60.0), ("Newmoor", 12.0), ("Bothmoor", 36.0)] {
        let row = depot(name);
        assert_eq!(number(row, "failures"), failures);
        let ratio = number(row, "ratio");
        assert!((0.9..1.1).contains(&ratio), "{row}");
    }
    // Without regard to age, old and new would.
    for name in ["Oldmoor", "Newmoor"] {
        assert!(number(depot(name), "adjusted_p") < 0.01, "{}", depot(name));
    }
    let out: Vec<_> = all.iter().filter(|row| row["stands_out"] == true).collect();
    assert!(all.len() > 30 && out.is_empty(), "{out:?}");

    // What is expected of the cohorts of a kind adds up to what was seen, and each failure is in one
    // quarter, also where it lies on the first day of one.
    for kind in ["fleet", "depot", "install quarter"] {
        let of = |period: &dyn Fn(&str) -> bool, column: &str| -> f64 {
            all.iter()
                .filter(|row| {
                    row["cohort_kind"] == kind && row["period"].as_str().is_some_and(period)
                })
                .map(|row| number(row, column))
                .sum()
        };
        let whole = |period: &str| period == "all";
        let quarters = |period: &str| period.contains("-Q");
        assert_eq!(of(&whole, "failures"), 108.0, "{kind}");
        assert_eq!(of(&quarters, "failures"), 108.0, "{kind}");
        let expected = of(&whole, "expected_failures");
        assert!((expected - 108.0).abs() < 1e-9, "{kind}: {expected}");
    }
}

#[test]
fn a_depot_that_is_worse_at_the_same_age_stands_out() {
    let mut lots = alike();
    lots.push(lot("Oddmoor", NEW, 60, 12));
    let place = lake(&lots);
    let depots = rows(
        &place,
        &format!("{RATES} WHERE cohort_kind = 'depot' AND period = 'all'"),
    );
    assert_eq!(depots.len(), 4);
    for row in &depots {
        assert_eq!(row["stands_out"], row["cohort"] == "Oddmoor", "{row}");
        if row["cohort"] == "Oddmoor" {
            assert!(number(row, "ratio") > 2.0, "{row}");
        }
    }
}
