//! Cohorts that mean something: heat from the depots' weather, rates against their kind and against
//! the period before, ends that compete, calls that repeat. A small lake written by hand, so that each
//! number can be worked out on paper.

mod ages;
mod change_day;

use chrono::{Days, NaiveDate};
use voltwane::statistics::rates::false_discovery::adjusted_p;
use voltwane::statistics::rates::poisson_rate::garwood_limits;
use voltwane::statistics::rates::rate_trend::{Counted, rate_change};

use crate::workplace::{Workplace, assert_close, number};

/// Depot, mean temperature, and of how many days one is known.
const DEPOTS: [(&str, Option<(f64, u64)>); 4] = [
    ("Emberflat", Some((35.0, 1))),
    ("Midvale", Some((15.0, 1))),
    ("Halfknown", Some((25.0, 2))),
    ("Nostation", None),
];

/// Vehicles a depot has.
const VEHICLES: usize = 6;

/// How many of the hot depot's batteries fail.
const FAIL: usize = 4;

fn last_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 6, 30).expect("a day")
}

/// First day on the road of every vehicle, 181 days before the last.
fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).expect("a day")
}

/// A VIN that passes the check digit; the prefix belongs to no maker we know of.
fn vin(number: usize) -> String {
    let mut vin = format!("0VW0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

/// Weather of 400 days; six vehicles a depot; in the hot depot batteries fail one after another, each
/// by a no-start on the day it is replaced.
fn lake() -> Workplace {
    let place = Workplace::new();
    let mut weather = String::from("depot,day,mean_temperature_c,max_temperature_c\n");
    let mut register =
        String::from("vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry\n");
    let mut orders = String::from("order_no,vin,opened_at,closed_at,cause,operation,complaint\n");
    for (at, (depot, climate)) in DEPOTS.iter().enumerate() {
        if let Some((mean, every)) = climate {
            for back in (0..400).filter(|back| back % every == 0) {
                let day = last_day() - Days::new(back);
                weather.push_str(&format!("{depot},{day},{mean},{}\n", mean + 5.0));
            }
        }
        for own in 0..VEHICLES {
            let (vin, first) = (vin(at * VEHICLES + own), first_day());
            register.push_str(&format!(
                "{vin},{},U{at}{own},{depot},Test,One,combustion,{first},flooded\n",
                last_day()
            ));
            orders.push_str(&format!(
                "{at}-{own},{vin},{first} 08:00:00,{first} 09:00:00,,other,\n"
            ));
            if at == 0 && own < FAIL {
                let day = first + Days::new(100 + 10 * own as u64);
                for operation in ["no-start call", "battery replaced"] {
                    orders.push_str(&format!(
                        "F{own},{vin},{day} 10:00:00,{day} 12:00:00,supply,{operation},does not start\n"
                    ));
                }
            }
        }
    }
    place.write("dumps/weather.csv", weather);
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

fn rows(place: &Workplace, query: &str) -> Vec<serde_json::Value> {
    place.sql(&["--as-of", "2024-06-30"], query)
}

/// Common practice, no source: life halves for each 10 degrees more. So a day at 35 degrees counts
/// twice, one at 25 once, one at 15 half.
#[test]
fn heat_is_summed_over_the_days_known() {
    let place = lake();
    let lived = rows(
        &place,
        "SELECT depot, days_in_vehicle, days_known, days_not_known, degree_days_above_25,
                equivalent_days_at_25, ageing_speed, depot_heat_band
         FROM heat_exposure WHERE days_in_vehicle = 181 ORDER BY depot, vin",
    );
    let of = |depot: &str| {
        let row = lived.iter().find(|row| row["depot"] == depot);
        row.unwrap_or_else(|| panic!("no battery of {depot}"))
    };
    assert_eq!(lived.len(), DEPOTS.len() * VEHICLES - FAIL);
    let hot = of("Emberflat");
    assert_eq!(number(hot, "days_known"), 181.0);
    assert_eq!(number(hot, "days_not_known"), 0.0);
    assert_close(
        number(hot, "degree_days_above_25"),
        1810.0,
        1e-12,
        "degree-days",
    );
    assert_close(number(hot, "equivalent_days_at_25"), 362.0, 1e-12, "days");
    assert_eq!(hot["depot_heat_band"], "hot");
    let mild = of("Midvale");
    assert_eq!(number(mild, "degree_days_above_25"), 0.0);
    assert_close(number(mild, "equivalent_days_at_25"), 90.5, 1e-12, "days");
    assert_eq!(mild["depot_heat_band"], "mild");
    // What is not known is stated and not guessed.
    let half = of("Halfknown");
    assert_eq!(
        number(half, "days_known") + number(half, "days_not_known"),
        181.0
    );
    assert!((90.0..=91.0).contains(&number(half, "days_known")));
    assert_eq!(
        number(half, "equivalent_days_at_25"),
        number(half, "days_known")
    );
    assert_eq!(half["depot_heat_band"], "not known");
    let none = of("Nostation");
    assert_eq!(number(none, "days_not_known"), 181.0);
    assert!(none["equivalent_days_at_25"].is_null());
    assert_eq!(none["depot_heat_band"], "not known");

    // A battery that failed after 100 days has lived through those 100.
    let failed = rows(
        &place,
        "SELECT days_known, equivalent_days_at_25 FROM heat_exposure WHERE days_in_vehicle = 100",
    );
    assert_close(
        number(&failed[0], "equivalent_days_at_25"),
        200.0,
        1e-12,
        "days",
    );
}

#[test]
fn a_cohort_is_held_against_its_kind_and_its_past() {
    let place = lake();
    let depots = rows(
        &place,
        "SELECT cohort, failures, battery_months, failures_per_1000_months AS rate, shrunk_rate,
                common_rate, funnel_p, adjusted_p, expected_failures, ratio, ratio_lower, ratio_upper,
                ratio_p, ratio_adjusted_p, stands_out
         FROM failure_rate WHERE cohort_kind = 'depot' AND period = 'all' ORDER BY cohort",
    );
    assert_eq!(depots.len(), DEPOTS.len());
    let p: Vec<f64> = depots.iter().map(|row| number(row, "funnel_p")).collect();
    for (row, expected) in depots.iter().zip(adjusted_p(&p).expect("chances")) {
        assert_close(number(row, "adjusted_p"), expected, 1e-12, "adjusted p");
    }
    let p: Vec<f64> = depots.iter().map(|row| number(row, "ratio_p")).collect();
    let months: f64 = depots.iter().map(|row| number(row, "battery_months")).sum();
    for (row, adjusted) in depots.iter().zip(adjusted_p(&p).expect("chances")) {
        // All batteries are below half a year of age, so the share of days is that of failures.
        let expected = FAIL as f64 * number(row, "battery_months") / months;
        assert_close(
            number(row, "expected_failures"),
            expected,
            1e-12,
            "expected",
        );
        let failures = number(row, "failures");
        let limits = garwood_limits(failures as u64, 0.95).expect("a count");
        for (name, count) in [
            ("ratio", failures),
            ("ratio_lower", limits.lower),
            ("ratio_upper", limits.upper),
        ] {
            assert_close(number(row, name), count / expected, 1e-12, name);
        }
        assert_close(
            number(row, "ratio_adjusted_p"),
            adjusted,
            1e-12,
            "adjusted p",
        );
        assert_eq!(row["stands_out"], adjusted <= 0.05, "{row}");
        let (rate, shrunk) = (number(row, "rate"), number(row, "shrunk_rate"));
        let common = number(row, "common_rate");
        let (low, high) = (rate.min(common), rate.max(common));
        assert!(low <= shrunk && shrunk <= high, "{shrunk} in {row}");
        // Four failures where one was to be expected of the hot depot, among four depots.
        let hot = row["cohort"] == "Emberflat";
        assert_eq!(number(row, "failures"), if hot { 4.0 } else { 0.0 });
    }

    let quarters = rows(
        &place,
        "SELECT period, failures, battery_months, change_ratio, change_p, earlier_period
         FROM failure_rate WHERE cohort = 'Emberflat' AND period LIKE '2024-Q_' ORDER BY period",
    );
    assert_eq!(quarters.len(), 2);
    let counted = |row: &serde_json::Value| Counted {
        events: number(row, "failures") as u64,
        exposure: number(row, "battery_months"),
    };
    let (first, second) = (counted(&quarters[0]), counted(&quarters[1]));
    assert_eq!((first.events, second.events), (0, 4));
    assert_eq!(quarters[1]["earlier_period"], "2024-Q1");
    let change = rate_change(second, &[first], 0.95).expect("two periods");
    assert_close(
        number(&quarters[1], "change_p"),
        change.p,
        1e-12,
        "p of no change",
    );
    assert!(
        quarters[1]["change_ratio"].is_null(),
        "nothing to divide by"
    );
    assert!(quarters[0]["change_p"].is_null(), "no earlier quarter");
}

#[test]
fn kinds_of_cohort_are_tested_for_a_difference() {
    let place = lake();
    let kinds = rows(
        &place,
        "SELECT cohort_kind, cohorts, failures, degrees_of_freedom, p, adjusted_p
         FROM cohort_difference ORDER BY cohort_kind",
    );
    let of = |kind: &str| {
        let row = kinds.iter().find(|row| row["cohort_kind"] == kind);
        row.unwrap_or_else(|| panic!("no row of {kind}"))
    };
    let depot = of("depot");
    assert_eq!(number(depot, "cohorts"), 4.0);
    assert_eq!(number(depot, "failures"), 4.0);
    assert_eq!(number(depot, "degrees_of_freedom"), 3.0);
    assert!(number(depot, "p") < 0.05, "{depot}");
    assert!(number(depot, "adjusted_p") >= number(depot, "p"));
    assert!(of("chemistry")["p"].is_null(), "there is one chemistry");
}

#[test]
fn ends_compete_and_calls_repeat() {
    let place = lake();
    let ends = rows(
        &place,
        "SELECT outcome, age_days, at_risk, incidence FROM life_incidence
         WHERE cohort_kind = 'fleet' ORDER BY age_days",
    );
    // One failure after another among 24 vehicles; a replaced battery is a new one of age 0.
    let expected = [(100.0, 24.0), (110.0, 23.0), (120.0, 22.0), (130.0, 21.0)];
    assert_eq!(ends.len(), expected.len());
    for (number_failed, (row, (age, at_risk))) in ends.iter().zip(expected).enumerate() {
        assert_eq!(row["outcome"], "failed");
        assert_eq!(number(row, "age_days"), age);
        assert_eq!(number(row, "at_risk"), at_risk);
        let share = (number_failed + 1) as f64 / 24.0;
        assert_close(number(row, "incidence"), share, 1e-12, "incidence");
    }
    let calls = rows(
        &place,
        "SELECT age_days, at_risk, calls, calls_per_vehicle FROM call_repeat
         WHERE cohort_kind = 'fleet' ORDER BY age_days",
    );
    assert_eq!(calls.len(), FAIL);
    for (called, row) in calls.iter().enumerate() {
        // Vehicles stay watched after a call, unlike a battery after its failure.
        assert_eq!(number(row, "at_risk"), 24.0);
        let mean = (called + 1) as f64 / 24.0;
        assert_close(
            number(row, "calls_per_vehicle"),
            mean,
            1e-12,
            "calls a vehicle",
        );
    }
}
