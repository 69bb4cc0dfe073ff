//! What one battery test says: readings as a share of the rating and back, verdicts.

use proptest::prelude::*;
use voltwane::trade::battery::charge::{TemperatureRule, rest_voltage_v};
use voltwane::trade::battery::load_test::least_voltage_v;
use voltwane::trade::battery::reading::{WORN_SHARE, charge_factor, normalise};
use voltwane::trade::battery::{TestReading, VerdictLimits, assess, assess_with, expected_reading};
use voltwane::trade::words::{Chemistry, MeasuredKind, RatingStandard, Verdict};

fn near(found: f64, expected: f64, tolerance: f64) -> bool {
    (found - expected).abs() <= tolerance
}

const CHARGED: TestReading = TestReading {
    rest_voltage_v: Some(12.7),
    temperature_c: Some(25.0),
    temperature_compensated: Some(false),
    surface_charge_removed: Some(true),
    measured: Some((600.0, MeasuredKind::CcaSae)),
    load: None,
    rated: Some((600.0, RatingStandard::Sae)),
    chemistry: Some(Chemistry::Flooded),
    instrument: None,
};

#[test]
fn a_battery_that_meets_its_rating_has_health_one() {
    let condition = assess(&CHARGED);
    assert_eq!(condition.health, Some(1.0));
    assert_eq!(condition.state_of_charge, Some(1.0));
    assert_eq!(condition.verdict, Verdict::Fit);
    assert_eq!(condition.assumed.texts().count(), 0);
    let sigma = condition.health_sigma.unwrap();
    assert!((0.02..0.10).contains(&sigma), "{sigma}");
}

#[test]
fn what_is_not_known_is_said_and_widens_the_uncertainty() {
    let bare = TestReading {
        temperature_c: None,
        chemistry: None,
        rest_voltage_v: None,
        ..CHARGED
    };
    let (full, bare) = (assess(&CHARGED), assess(&bare));
    assert_eq!(bare.health, Some(1.0));
    assert!(bare.health_sigma > full.health_sigma);
    let text = bare.assumed.to_string();
    for part in ["chemistry", "temperature not given", "rest voltage"] {
        assert!(text.contains(part), "{text}");
    }
    let other_standard = TestReading {
        measured: Some((564.0, MeasuredKind::CcaEn)),
        ..CHARGED
    };
    let converted = assess(&other_standard);
    assert!(near(converted.health.unwrap(), 1.0, 1e-9) && converted.assumed.rating_converted);
    assert!(converted.health_sigma > full.health_sigma);
}

/// A 600 A battery goes with 200 S and 5 mOhm (common practice, no source).
#[test]
fn conductance_and_resistance_agree() {
    for measured in [
        (200.0, MeasuredKind::ConductanceS),
        (5.0, MeasuredKind::ResistanceMohm),
    ] {
        let condition = assess(&TestReading {
            measured: Some(measured),
            ..CHARGED
        });
        assert!(near(condition.health.unwrap(), 1.0, 1e-12), "{measured:?}");
        assert!(condition.assumed.factor_of_the_trade);
    }
}

#[test]
fn the_verdict_names_its_rule() {
    use Verdict::{Discharged, Failed, Fit, Untested, Worn};
    let test = |rest_voltage_v, measured| TestReading {
        rest_voltage_v,
        measured,
        ..CHARGED
    };
    let cca = |a| Some((a, MeasuredKind::CcaSae));
    for (reading, verdict, rule) in [
        (test(Some(12.7), cca(580.0)), Fit, "within its rating"),
        (test(Some(12.7), cca(350.0)), Worn, "worn limit"),
        (test(Some(12.7), cca(100.0)), Failed, "failed limit"),
        (test(Some(12.7), cca(0.0)), Failed, "failed limit"),
        (test(Some(12.0), cca(250.0)), Discharged, "charge fully"),
        (test(Some(12.0), cca(580.0)), Discharged, "charge fully"),
        (test(Some(12.43), cca(300.0)), Discharged, "part charge"),
        (test(Some(12.46), cca(300.0)), Worn, "worn limit"),
        (test(Some(12.35), cca(90.0)), Discharged, "part charge"),
        (test(Some(12.35), cca(300.0)), Discharged, "part charge"),
        (test(Some(12.35), cca(590.0)), Fit, "within its rating"),
        (test(Some(2.0), None), Discharged, "charge fully"),
        (test(Some(2.0), cca(40.0)), Discharged, "charge fully"),
        (test(Some(10.5), cca(90.0)), Discharged, "charge fully"),
        (test(Some(10.5), cca(480.0)), Failed, "one cell is dead"),
        (test(Some(-0.4), None), Failed, "polarity"),
        (test(Some(12.7), None), Untested, "no reading"),
        (test(Some(14.2), cca(300.0)), Untested, "under charge"),
        (test(Some(13.4), cca(300.0)), Worn, "worn limit"),
        (test(None, cca(580.0)), Fit, "within its rating"),
        (test(None, cca(250.0)), Untested, "without rest voltage"),
        (test(None, None), Untested, "no reading"),
        (test(Some(12.7), cca(5000.0)), Untested, "does not fit"),
        (
            TestReading {
                rated: None,
                ..CHARGED
            },
            Untested,
            "no rating",
        ),
        (
            TestReading {
                surface_charge_removed: Some(false),
                ..test(Some(12.6), cca(300.0))
            },
            Discharged,
            "part charge",
        ),
        (
            TestReading {
                surface_charge_removed: Some(false),
                ..test(Some(12.9), cca(300.0))
            },
            Worn,
            "worn limit",
        ),
    ] {
        let condition = assess(&reading);
        assert_eq!(
            condition.verdict, verdict,
            "{reading:?}: {}",
            condition.rule
        );
        assert!(
            condition.rule.contains(rule),
            "{reading:?}: {}",
            condition.rule
        );
    }
}

/// The table decides a load test made as it asks: half the rating, 15 s, charged battery.
#[test]
fn load_test_against_its_table() {
    let test = |volts, celsius, rest| TestReading {
        rest_voltage_v: Some(rest),
        temperature_c: Some(celsius),
        measured: Some((volts, MeasuredKind::LoadTestV)),
        load: Some((300.0, 15.0)),
        ..CHARGED
    };
    for (volts, celsius, rest, verdict) in [
        (9.6, 21.0, 12.65, Verdict::Fit),
        (9.5, 21.0, 12.65, Verdict::Worn),
        (9.5, 16.0, 12.65, Verdict::Fit),
        (8.9, -7.0, 12.65, Verdict::Fit),
        (8.8, -7.0, 12.65, Verdict::Worn),
        (9.0, 21.0, 12.35, Verdict::Discharged),
        (4.0, 21.0, 12.65, Verdict::Failed),
        (10.8, 21.0, 12.65, Verdict::Fit),
    ] {
        let condition = assess(&test(volts, celsius, rest));
        assert_eq!(
            condition.verdict, verdict,
            "{volts} V at {celsius} °C: {}",
            condition.rule
        );
    }
    let light_load = TestReading {
        load: Some((100.0, 15.0)),
        ..test(11.0, 21.0, 12.65)
    };
    let condition = assess(&light_load);
    assert_eq!(
        condition.verdict,
        Verdict::Worn,
        "1.65 V lost at a sixth of the rating: {}",
        condition.rule
    );
}

/// Common practice: a battery resting at about 2 V after its fifth birthday is failed, or discharged
/// and to be charged and tested again. It is never worn, whatever else the test says.
#[test]
fn a_battery_at_two_volts_is_never_worn() {
    for chemistry in [
        None,
        Some(Chemistry::Flooded),
        Some(Chemistry::Efb),
        Some(Chemistry::Agm),
        Some(Chemistry::Gel),
    ] {
        for measured in [
            None,
            Some((30.0, MeasuredKind::CcaSae)),
            Some((1.0, MeasuredKind::LoadTestV)),
        ] {
            for rest_voltage_v in [1.8, 2.0, 2.2] {
                let test = TestReading {
                    rest_voltage_v: Some(rest_voltage_v),
                    chemistry,
                    measured,
                    ..CHARGED
                };
                let condition = assess(&test);
                assert!(
                    matches!(condition.verdict, Verdict::Failed | Verdict::Discharged),
                    "{test:?}"
                );
            }
        }
    }
}

/// A reading of three fifths of the rating in the cold: worn where the tester has allowed for the cold,
/// fit where it has not, and where nobody says as common for a cranking current, with the doubt.
#[test]
fn a_tester_that_allows_for_temperature_is_not_corrected_again() {
    let test = |temperature_compensated, celsius, measured| {
        assess(&TestReading {
            temperature_c: Some(celsius),
            temperature_compensated,
            measured: Some(measured),
            ..CHARGED
        })
    };
    let amperes = (360.0, MeasuredKind::CcaSae);
    let told = test(Some(true), -10.0, amperes);
    assert_eq!((told.health, told.verdict), (Some(0.6), Verdict::Worn));
    let raw = test(Some(false), -10.0, amperes);
    assert_eq!(raw.verdict, Verdict::Fit, "{raw:?}");
    assert!(near(raw.health.unwrap(), 0.74, 0.005), "{raw:?}");
    let unsaid = test(None, -10.0, amperes);
    assert_eq!((unsaid.health, unsaid.verdict), (Some(0.6), Verdict::Worn));
    assert!(unsaid.assumed.compensation && !unsaid.assumed.reference_temperature);
    // The other reading of it is within two and a half sigma, and without cold there is little to doubt.
    let sigma = unsaid.health_sigma.unwrap();
    assert!(
        0.74 - 0.6 < 2.5 * sigma && sigma > told.health_sigma.unwrap(),
        "{sigma}"
    );
    assert!(test(None, 24.0, amperes).health_sigma.unwrap() < 0.5 * sigma);
    // Conductance is shown as it is, unless somebody says otherwise.
    let siemens = (120.0, MeasuredKind::ConductanceS);
    assert!(test(None, -10.0, siemens).health > Some(0.7));
    assert_eq!(test(Some(true), -10.0, siemens).health, Some(0.6));
    // A load tester that allows for temperature is held against the table's warm end.
    let load = |compensated| {
        assess(&TestReading {
            temperature_c: Some(-10.0),
            temperature_compensated: compensated,
            measured: Some((9.0, MeasuredKind::LoadTestV)),
            ..CHARGED
        })
    };
    assert_eq!(load(None).verdict, Verdict::Fit);
    assert_eq!(load(Some(true)).verdict, Verdict::Worn);
}

/// A battery that just holds the table's least voltage has what a battery must have, at any
/// temperature, and less than that is less.
#[test]
fn a_load_test_just_passed_is_at_the_limit_of_worn() {
    for celsius in [-18.0, -7.0, 10.0, 21.0, 35.0] {
        for chemistry in [Chemistry::Flooded, Chemistry::Agm] {
            let test = |below_v: f64| {
                assess(&TestReading {
                    rest_voltage_v: rest_voltage_v(
                        1.0,
                        Some(chemistry),
                        Some(celsius),
                        TemperatureRule::default(),
                    ),
                    temperature_c: Some(celsius),
                    temperature_compensated: None,
                    measured: Some((
                        least_voltage_v(celsius).unwrap() - below_v,
                        MeasuredKind::LoadTestV,
                    )),
                    load: Some((300.0, 15.0)),
                    chemistry: Some(chemistry),
                    ..CHARGED
                })
            };
            let passed = test(0.0);
            assert_eq!(passed.verdict, Verdict::Fit, "{celsius} °C");
            assert!(near(passed.health.unwrap(), WORN_SHARE, 1e-9), "{passed:?}");
            let missed = test(0.05);
            assert_eq!(missed.verdict, Verdict::Worn, "{celsius} °C");
            assert!(missed.health < Some(WORN_SHARE));
        }
    }
    // Half the rating pulls a new battery to about 10.5 V (common practice, no source).
    let new = expected_reading(
        MeasuredKind::LoadTestV,
        600.0,
        RatingStandard::Sae,
        Chemistry::Flooded,
        1.0,
        25.0,
        1.0,
    );
    assert!(near(new, 10.5, 0.1), "{new} V");
}

/// Lithium iron phosphate: its own table of rest voltage, and as strong at a third of its charge as
/// full. A voltage above that of a battery at rest is said to be one.
#[test]
fn lithium_is_not_read_as_lead_acid() {
    let test = |rest_voltage_v, share: f64| {
        assess(&TestReading {
            rest_voltage_v: Some(rest_voltage_v),
            measured: Some((600.0 * share, MeasuredKind::CcaSae)),
            chemistry: Some(Chemistry::Lithium),
            ..CHARGED
        })
    };
    let part_charged = test(12.95, 0.67);
    assert!(near(part_charged.state_of_charge.unwrap(), 0.25, 1e-9));
    assert_eq!(
        (part_charged.health, part_charged.verdict),
        (Some(0.67), Verdict::Discharged)
    );
    assert_eq!(test(13.15, 0.67).verdict, Verdict::Worn);
    assert_eq!(test(13.15, 0.75).verdict, Verdict::Fit);
    let charging = test(15.5, 0.5);
    assert_eq!(charging.verdict, Verdict::Untested);
    assert!(charging.rule.contains("under charge"), "{}", charging.rule);
}

#[test]
fn what_an_instrument_is_high_by_is_taken_out() {
    let low = TestReading {
        measured: Some((420.0, MeasuredKind::CcaSae)),
        instrument: Some((0.8, 0.1)),
        ..CHARGED
    };
    let (read, plain) = (
        assess(&low),
        assess(&TestReading {
            instrument: None,
            ..low
        }),
    );
    assert!(near(read.health.unwrap(), 0.875, 1e-12), "{read:?}");
    assert!(read.health_sigma > plain.health_sigma);
    let useless = TestReading {
        instrument: Some((0.0, f64::NAN)),
        ..low
    };
    assert_eq!(assess(&useless).health, plain.health);
}

#[test]
fn limits_can_be_set() {
    let test = TestReading {
        measured: Some((421.0, MeasuredKind::CcaSae)),
        ..CHARGED
    };
    assert_eq!(assess(&test).verdict, Verdict::Fit);
    let strict = VerdictLimits {
        worn_below: 0.8,
        ..VerdictLimits::default()
    };
    assert_eq!(assess_with(&test, &strict).verdict, Verdict::Worn);
}

fn any_chemistry() -> impl Strategy<Value = Chemistry> {
    proptest::sample::select(Chemistry::ALL)
}

proptest! {
    /// The expected reading of a battery, read back, is its health.
    #[test]
    fn expected_reading_and_normalisation_are_inverse(
        kind in proptest::sample::select(MeasuredKind::ALL),
        standard in proptest::sample::select(RatingStandard::ALL),
        chemistry in any_chemistry(),
        rated_a in 200.0..1200.0f64,
        health in 0.55..1.4f64,
        temperature_c in -20.0..50.0f64,
        charge in 0.3..1.0f64,
    ) {
        let value = expected_reading(kind, rated_a, standard, chemistry, health, temperature_c, charge);
        let rest = rest_voltage_v(charge, Some(chemistry), Some(temperature_c), TemperatureRule::default());
        let test = TestReading {
            rest_voltage_v: rest,
            temperature_c: Some(temperature_c),
            surface_charge_removed: Some(true),
            measured: Some((value, kind)),
            rated: Some((rated_a, standard)),
            chemistry: Some(chemistry),
            ..TestReading::default()
        };
        let found = normalise(&test, Some(charge)).unwrap();
        prop_assert!(near(found.health, health, 1e-9), "{} for {health}", found.health);
        let read_charge = assess(&test).state_of_charge.unwrap();
        prop_assert!(near(read_charge, charge, 1e-9), "{read_charge} for {charge}");
    }

    /// A colder, emptier or more worn battery never reads stronger.
    #[test]
    fn cranking_ability_falls_with_cold_discharge_and_wear(
        health in 0.3..1.3f64, temperature_c in -30.0..45.0f64, charge in 0.05..0.95f64,
    ) {
        let read = |health, temperature_c, charge| {
            let (kind, standard) = (MeasuredKind::ConductanceS, RatingStandard::En);
            expected_reading(kind, 700.0, standard, Chemistry::Agm, health, temperature_c, charge)
        };
        let value = read(health, temperature_c, charge);
        prop_assert!(read(health - 0.1, temperature_c, charge) < value);
        prop_assert!(read(health, temperature_c - 5.0, charge) < value);
        prop_assert!(read(health, temperature_c, charge - 0.05) < value);
        prop_assert!((0.5..=1.0).contains(&charge_factor(Some(Chemistry::Agm), charge)));
    }

    /// Below its chemistry's discharged limit no battery is worn or fit.
    #[test]
    fn a_discharged_battery_is_never_called_worn(
        chemistry in proptest::option::of(any_chemistry()),
        rest_voltage_v in -1.0..12.2f64,
        kind in proptest::sample::select(MeasuredKind::ALL),
        value in 0.0..1500.0f64,
        surface_charge_removed: Option<bool>,
        rated in proptest::option::of(100.0..1200.0f64),
    ) {
        let test = TestReading {
            rest_voltage_v: Some(rest_voltage_v),
            surface_charge_removed,
            measured: Some((value, kind)),
            rated: rated.map(|a| (a, RatingStandard::Sae)),
            chemistry,
            ..TestReading::default()
        };
        let condition = assess(&test);
        prop_assert!(matches!(condition.verdict, Verdict::Discharged | Verdict::Failed), "{condition:?}");
    }

    /// Any numbers give a condition whose numbers are numbers.
    #[test]
    fn any_numbers_are_judged(
        rest_voltage_v in proptest::option::of(proptest::num::f64::ANY), temperature_c in proptest::option::of(proptest::num::f64::ANY), value in proptest::num::f64::ANY, load in proptest::option::of((proptest::num::f64::ANY, proptest::num::f64::ANY)),
        rated in proptest::option::of(proptest::num::f64::ANY), kind in proptest::sample::select(MeasuredKind::ALL),
        chemistry in proptest::option::of(any_chemistry()),
    ) {
        let test = TestReading {
            rest_voltage_v,
            temperature_c,
            measured: Some((value, kind)),
            load,
            rated: rated.map(|a| (a, RatingStandard::Din)),
            chemistry,
            ..TestReading::default()
        };
        let condition = assess(&test);
        prop_assert!(condition.state_of_charge.is_none_or(|charge| (0.0..=1.0).contains(&charge)));
        prop_assert!(condition.health.is_none_or(|health| (0.0..=2.0).contains(&health)));
        prop_assert!(condition.health_sigma.is_none_or(f64::is_finite));
        prop_assert!(!condition.rule.is_empty());
    }
}
