//! Battery tables against published ones: rest voltage, load test, rating standards.

use proptest::prelude::*;
use voltwane::trade::battery::charge::{self, TemperatureRule, rest_voltage_v, state_of_charge};
use voltwane::trade::battery::load_test::{is_standard_load, least_voltage_v, load_current_a};
use voltwane::trade::battery::rating::{convert, definition, en_step_a};
use voltwane::trade::battery::reading::standard_load;
use voltwane::trade::words::{Chemistry, RatingStandard};

fn near(found: f64, expected: f64, tolerance: f64) -> bool {
    (found - expected).abs() <= tolerance
}

/// Open-circuit voltage at 80 °F as the trade prints it (from memory, not traced to an edition).
#[test]
fn flooded_rest_voltage_table() {
    for (volts, percent) in [
        (12.65, 100.0),
        (12.45, 75.0),
        (12.24, 50.0),
        (12.06, 25.0),
        (11.89, 0.0),
    ] {
        for chemistry in [Some(Chemistry::Flooded), Some(Chemistry::Efb), None] {
            let charge =
                state_of_charge(volts, chemistry, Some(26.667), TemperatureRule::default())
                    .unwrap();
            assert!(
                near(charge * 100.0, percent, 0.01),
                "{volts} V {chemistry:?}: {charge}"
            );
        }
    }
    assert_eq!(
        state_of_charge(13.1, Some(Chemistry::Flooded), None, TemperatureRule::None),
        Some(1.0)
    );
    assert_eq!(
        state_of_charge(2.0, Some(Chemistry::Flooded), None, TemperatureRule::None),
        Some(0.0)
    );
    assert_eq!(
        state_of_charge(
            f64::NAN,
            Some(Chemistry::Flooded),
            None,
            TemperatureRule::None
        ),
        None
    );
}

/// Bands printed for charging AGM batteries (from memory, not traced to an edition).
#[test]
fn agm_rest_voltage_bands() {
    for (volts, low, high) in [
        (13.2, 1.0, 1.0),
        (12.8, 1.0, 1.0),
        (12.7, 0.75, 1.0),
        (12.6, 0.75, 1.0),
        (12.45, 0.50, 0.75),
        (12.3, 0.50, 0.75),
        (12.15, 0.25, 0.50),
        (12.0, 0.0, 0.25),
        (11.9, 0.0, 0.25),
    ] {
        let charge =
            state_of_charge(volts, Some(Chemistry::Agm), None, TemperatureRule::None).unwrap();
        assert!((low..=high).contains(&charge), "{volts} V: {charge}");
    }
}

/// Column of corrections printed beside the flooded table, and its worked value: 12.45 V at 40 °F is
/// read as 12.354 V, by linear interpolation 63.571 %.
#[test]
fn printed_temperature_correction() {
    for (fahrenheit, volts) in [
        (0.0, -0.192),
        (40.0, -0.096),
        (70.0, -0.024),
        (80.0, 0.0),
        (100.0, 0.048),
        (130.0, 0.120),
        (160.0, 0.192),
    ] {
        let celsius = (fahrenheit - 32.0) / 1.8;
        assert!(
            near(TemperatureRule::Printed.correction_v(celsius), volts, 1e-9),
            "{fahrenheit} F"
        );
    }
    let celsius = (40.0 - 32.0) / 1.8;
    let charge = state_of_charge(
        12.45,
        Some(Chemistry::Flooded),
        Some(celsius),
        TemperatureRule::Printed,
    )
    .unwrap();
    assert!(near(charge, 0.63571, 1e-5), "{charge}");
}

/// The potential of a lead-acid cell rises by about 0.2 mV per °C (from memory), so a cold battery
/// holds a little more than its voltage says.
#[test]
fn reversible_temperature_correction_is_small_and_lifts_cold_readings() {
    assert!(near(
        TemperatureRule::Reversible.correction_v(-10.0),
        0.044,
        1e-6
    ));
    let warm = state_of_charge(
        12.4,
        Some(Chemistry::Agm),
        Some(25.0),
        TemperatureRule::Reversible,
    );
    let cold = state_of_charge(
        12.4,
        Some(Chemistry::Agm),
        Some(-10.0),
        TemperatureRule::Reversible,
    );
    assert!(cold > warm);
    let lithium = |t| {
        state_of_charge(
            13.15,
            Some(Chemistry::Lithium),
            Some(t),
            TemperatureRule::Reversible,
        )
    };
    assert_eq!(lithium(-10.0), lithium(25.0));
}

/// The trade's common table (from memory, not traced to an edition).
#[test]
fn load_test_least_voltage_table() {
    for (celsius, volts) in [
        (40.0, 9.6),
        (21.0, 9.6),
        (20.0, 9.6),
        (16.0, 9.5),
        (10.0, 9.4),
        (4.0, 9.3),
        (-1.0, 9.1),
        (-7.0, 8.9),
        (-12.0, 8.7),
        (-18.0, 8.5),
        (-30.0, 8.5),
        (7.0, 9.35),
    ] {
        assert!(
            near(least_voltage_v(celsius).unwrap(), volts, 1e-9),
            "{celsius} °C"
        );
    }
    assert_eq!(least_voltage_v(f64::NAN), None);
}

/// Half the rated cold cranking current for 15 s (common practice, no source).
#[test]
fn load_of_the_test_is_half_the_rating() {
    assert_eq!(load_current_a(600.0, RatingStandard::Sae), 300.0);
    assert_eq!(standard_load(600.0, RatingStandard::Sae), (300.0, 15.0));
    assert!(is_standard_load(290.0, 15.0, 600.0, RatingStandard::Sae));
    assert!(!is_standard_load(200.0, 15.0, 600.0, RatingStandard::Sae));
    assert!(!is_standard_load(300.0, 5.0, 600.0, RatingStandard::Sae));
}

/// SAE J537, EN 60095-1 / EN 50342, IEC 60095-1 (older), DIN 43539-2 and CA as in public texts.
#[test]
fn definitions_of_cranking_current() {
    for (standard, celsius, seconds, volts) in [
        (RatingStandard::Sae, -18.0, 30.0, 7.2),
        (RatingStandard::En, -18.0, 10.0, 7.5),
        (RatingStandard::Iec, -18.0, 60.0, 8.4),
        (RatingStandard::Din, -18.0, 30.0, 9.0),
        (RatingStandard::Ca, 0.0, 30.0, 7.2),
    ] {
        let found = definition(standard);
        assert_eq!(
            (found.temperature_c, found.seconds, found.least_v),
            (celsius, seconds, volts),
            "{standard}"
        );
    }
}

/// Current steps of EN 50342-1 (from memory).
#[test]
fn steps_of_en_ratings() {
    for (amperes, step) in [
        (190.0, 10.0),
        (240.0, 20.0),
        (450.0, 30.0),
        (720.0, 40.0),
        (850.0, 50.0),
    ] {
        assert_eq!(en_step_a(amperes), step);
    }
}

/// Common practice, no source: a harder test gives a lower rating, a warmer one a higher.
#[test]
fn conversions_are_approximate_and_keep_the_order_of_severity() {
    let by = |to| convert(600.0, RatingStandard::Sae, to).current_a;
    assert!(by(RatingStandard::Din) < by(RatingStandard::Iec));
    assert!(by(RatingStandard::Iec) < by(RatingStandard::En));
    assert!(by(RatingStandard::En) < by(RatingStandard::Sae));
    assert!(by(RatingStandard::Sae) < by(RatingStandard::Ca));
    for from in RatingStandard::ALL {
        for to in RatingStandard::ALL {
            let there = convert(640.0, *from, *to);
            assert_eq!(there.is_approximate(), from != to);
            assert!(near(
                convert(there.current_a, *to, *from).current_a,
                640.0,
                1e-9
            ));
        }
    }
}

proptest! {
    #[test]
    fn rest_voltage_round_trips(charge in 0.0..=1.0f64, chemistry in proptest::sample::select(Chemistry::ALL), celsius in -30.0..50.0f64) {
        for rule in [TemperatureRule::Reversible, TemperatureRule::Printed, TemperatureRule::None] {
            let volts = rest_voltage_v(charge, Some(chemistry), Some(celsius), rule).unwrap();
            let back = state_of_charge(volts, Some(chemistry), Some(celsius), rule).unwrap();
            prop_assert!(near(back, charge, 1e-9), "{back} for {charge}");
            prop_assert!(charge::table(Some(chemistry)).windows(2).all(|pair| pair[0] < pair[1]));
        }
    }
}
