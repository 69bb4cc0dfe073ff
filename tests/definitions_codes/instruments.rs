//! What a tester says: ratings without a standard, and instruments that read low.

use super::{Dumps, day, moment};
use crate::workplace::{Workplace, assert_close, number};

/// Evenly spread from -1 to 1, the same each time.
fn spread(at: u64) -> f64 {
    ((at.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 11) as f64 / (1u64 << 53) as f64) * 2.0 - 1.0
}

/// Batteries tested when new by one of three shops, and again by two of them in one week; one shop's
/// tester reads low by `factor`.
fn lake(factor: f64, batteries: u64) -> Workplace {
    let mut dumps = Dumps::new();
    let shops = [("Low", factor), ("North", 1.0), ("South", 1.0)];
    let test = |dumps: &mut Dumps, vin: &str, at: u64, shop: usize, share: f64, draw: u64| {
        let (name, high_by) = shops[shop];
        let amperes = 600.0 * share * high_by * (1.0 + 0.04 * spread(draw));
        dumps.tests.push_str(&format!(
            "{vin},main,{},12.7,25,{amperes:.0},CCA SAE,600,{name}\n",
            moment(at, 60)
        ));
    };
    for battery in 0..batteries {
        let began = battery % 300;
        let vin = dumps.vehicle(battery as usize, "One", &day(began));
        let ability = 1.0 + 0.05 * spread(1_000 + battery);
        let (first, second) = ((battery % 3) as usize, ((battery + 1) % 3) as usize);
        test(
            &mut dumps,
            &vin,
            began + 30,
            first,
            ability,
            5_000 + battery,
        );
        test(
            &mut dumps,
            &vin,
            began + 300,
            first,
            0.9 * ability,
            9_000 + battery,
        );
        test(
            &mut dumps,
            &vin,
            began + 303,
            second,
            0.9 * ability,
            13_000 + battery,
        );
    }
    dumps.load()
}

#[test]
fn a_tester_that_reads_low_is_found_and_taken_out() {
    let place = lake(0.8, 150);
    let scale = place.sql(
        &[],
        "SELECT shop, factor, factor_lower, factor_upper, batteries FROM instrument_scale
         WHERE measured_kind = 'CCA SAE' AND from_on = (SELECT MAX(from_on) FROM instrument_scale) ORDER BY shop",
    );
    assert_eq!(scale.len(), 3, "{scale:?}");
    let factor = |at: usize| number(&scale[at], "factor");
    assert_close(factor(0) / factor(1), 0.8, 0.05, "low against another");
    assert!(number(&scale[0], "factor_upper") < 0.95, "{scale:?}");
    for row in &scale {
        assert!(number(row, "factor_lower") < number(row, "factor"), "{row}");
        assert!(number(row, "batteries") > 30.0, "{row}");
    }
    assert!((factor(1) / factor(2) - 1.0).abs() < 0.03, "{scale:?}");
    // What it reads is then like what the others read of the same batteries.
    let health = place.sql(
        &[],
        "SELECT shop, AVG(health) AS health FROM test_verdict WHERE tested_on >= DATE '2024-10-01' GROUP BY shop ORDER BY shop",
    );
    assert_close(
        number(&health[0], "health"),
        number(&health[1], "health"),
        0.05,
        "health by shop",
    );
    // The first tests of all are read as they stand: nothing was known then.
    let early = place.sql(
        &[],
        "SELECT health, measured_value FROM test_verdict WHERE tested_on < DATE '2024-04-01'",
    );
    assert!(early.len() > 10);
    for row in early {
        assert_close(
            number(&row, "health"),
            number(&row, "measured_value") / 600.0,
            1e-9,
            "as it stands",
        );
    }
}

#[test]
fn testers_that_agree_are_left_alone() {
    let place = lake(1.0, 150);
    let rows = place.sql(
        &[],
        "SELECT factor, factor_lower, factor_upper FROM instrument_scale",
    );
    assert!(rows.len() >= 6, "{rows:?}");
    for row in rows {
        assert!((number(&row, "factor") - 1.0).abs() < 0.03, "{row}");
        assert!(
            number(&row, "factor_lower") < 1.0 && number(&row, "factor_upper") > 1.0,
            "{row}"
        );
    }
}

/// A label's rating without its standard is by the register's: 600 A is not 1.06 of 600 A.
#[test]
fn a_rating_without_a_standard_is_by_the_registers() {
    let mut dumps = Dumps::new();
    let vin = dumps.vehicle(1, "One", "2022-01-01");
    dumps.tests.push_str(&format!(
        "{vin},main,{},12.7,25,480,CCA SAE,600,Shop\n",
        moment(10, 0)
    ));
    let rows = dumps
        .load()
        .sql(&[], "SELECT verdict, health FROM test_verdict");
    assert_eq!(rows[0]["verdict"].as_str(), Some("fit"), "{rows:?}");
    assert_close(number(&rows[0], "health"), 0.8, 1e-9, "480 of 600 A");
}
