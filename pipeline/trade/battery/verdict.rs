//! Verdict on one test: fit, discharged, worn, failed or untested, with the rule that gave it.
//!
//! A discharged battery is never called worn: below the discharged limit the verdict is *discharged*
//! (charge fully, then test again) unless a cell is dead, and a weak reading counts as wear only on a
//! battery known to be charged. Limits are common practice, no source, and can be set. What a fleet
//! should do about a verdict is left to the analysis.

use super::charge::{self, TemperatureRule};
use super::reading::{self, Assumed};
use super::{TestReading, load_test};
use crate::words::{Chemistry, MeasuredKind, Verdict};

/// Where the verdicts part. Shares of the rating at 25 °C and full charge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VerdictLimits {
    /// Below this share of its rating a charged battery is worn.
    pub worn_below: f64,
    /// Below this share of its rating a charged battery has failed.
    pub failed_below: f64,
    /// How rest voltage is corrected for temperature.
    pub temperature_rule: TemperatureRule,
}

impl Default for VerdictLimits {
    fn default() -> Self {
        VerdictLimits {
            worn_below: reading::WORN_SHARE,
            failed_below: 0.30,
            temperature_rule: TemperatureRule::default(),
        }
    }
}

/// Surface charge can lift the rest voltage by about this much, V (common practice, no source).
const SURFACE_CHARGE_V: f64 = 0.2;

/// Above this voltage a battery is being charged and not at rest, V (common practice, no source).
const fn highest_rest_v(chemistry: Option<Chemistry>) -> f64 {
    match chemistry {
        Some(Chemistry::Lithium) => 13.9,
        _ => 13.5,
    }
}

/// Five charged cells of six, at rest: the range in which one cell is dead if the battery still gives
/// most of its current (common practice, no source).
const DEAD_CELL_V: std::ops::RangeInclusive<f64> = 9.0..=11.0;
const DEAD_CELL_LEAST_FRACTION: f64 = 0.60;

/// What one test says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condition {
    /// 0 to 1, from rest voltage.
    pub state_of_charge: Option<f64>,
    /// Share of rated cranking ability at 25 °C and full charge.
    pub health: Option<f64>,
    /// One sigma of `health`.
    pub health_sigma: Option<f64>,
    pub verdict: Verdict,
    /// The rule that gave the verdict, in words.
    pub rule: &'static str,
    pub assumed: Assumed,
}

/// State of charge below which a battery is discharged, and from which a weak reading may count as
/// wear: half and three quarters for lead-acid (the load test asks for three quarters), less for
/// lithium, which holds its current until nearly empty.
pub const fn charge_limits(chemistry: Option<Chemistry>) -> (f64, f64) {
    match chemistry {
        Some(Chemistry::Lithium) => (0.20, 0.40),
        _ => (0.50, 0.75),
    }
}

/// Rest voltage in V below which a battery of this chemistry is discharged, at 80 °F: flooded and
/// EFB 12.24, AGM 12.3, gel 12.35, lithium 12.9.
pub fn discharged_below_v(chemistry: Option<Chemistry>) -> f64 {
    charge::rest_voltage_v(
        charge_limits(chemistry).0,
        chemistry,
        None,
        TemperatureRule::None,
    )
    .unwrap_or(f64::NAN)
}

/// [`assess_with`] the default limits.
pub fn assess(test: &TestReading) -> Condition {
    assess_with(test, &VerdictLimits::default())
}

/// State of charge, health and verdict of one test. Values that are no number count as missing, and
/// so does a rest voltage that only a battery under charge has.
pub fn assess_with(test: &TestReading, limits: &VerdictLimits) -> Condition {
    let under_charge = test
        .rest_voltage_v
        .is_some_and(|v| v.is_finite() && v > highest_rest_v(test.chemistry));
    let test = TestReading {
        rest_voltage_v: test
            .rest_voltage_v
            .filter(|v| v.is_finite() && !under_charge),
        temperature_c: test.temperature_c.filter(|t| t.is_finite()),
        ..*test
    };
    let charge_at = |rest_voltage_v: f64| {
        charge::state_of_charge(
            rest_voltage_v,
            test.chemistry,
            test.temperature_c,
            limits.temperature_rule,
        )
    };
    let state_of_charge = test.rest_voltage_v.and_then(charge_at);
    let fraction = reading::normalise(&test, state_of_charge);
    // What is sure of the charge where surface charge was left on.
    let sure_charge = match test.surface_charge_removed {
        Some(false) => test
            .rest_voltage_v
            .and_then(|v| charge_at(v - SURFACE_CHARGE_V)),
        _ => state_of_charge,
    };
    let (verdict, rule) = match judge(&test, limits, state_of_charge, sure_charge, fraction) {
        (Verdict::Untested, WEAK_WITHOUT_REST) if under_charge => (
            Verdict::Untested,
            "weak reading at a voltage that only a battery under charge has: let it rest, then test again",
        ),
        judged => judged,
    };
    let nothing_read = Assumed {
        flooded: test.chemistry.is_none(),
        ..Assumed::default()
    };
    Condition {
        state_of_charge,
        health: fraction.map(|f| f.health),
        health_sigma: fraction.map(|f| f.health_sigma),
        verdict,
        rule,
        assumed: fraction.map_or(nothing_read, |f| f.assumed),
    }
}

const WEAK_WITHOUT_REST: &str = "weak reading without rest voltage, may be discharged or worn: read rest voltage, charge, test again";

/// The rules, in the order they are asked.
fn judge(
    test: &TestReading,
    limits: &VerdictLimits,
    state_of_charge: Option<f64>,
    sure_charge: Option<f64>,
    fraction: Option<reading::Fraction>,
) -> (Verdict, &'static str) {
    let (discharged_below, judged_from) = charge_limits(test.chemistry);
    let charged = sure_charge.is_some_and(|charge| charge >= judged_from);

    if let Some(rest_voltage_v) = test.rest_voltage_v {
        let lead_acid = test.chemistry != Some(Chemistry::Lithium);
        let strong = fraction.is_some_and(|f| f.at_its_charge >= DEAD_CELL_LEAST_FRACTION);
        if rest_voltage_v < 0.0 {
            return (
                Verdict::Failed,
                "rest voltage below zero: polarity reversed",
            );
        }
        if lead_acid && strong && DEAD_CELL_V.contains(&rest_voltage_v) {
            return (
                Verdict::Failed,
                "rest voltage of five cells with the current of charged ones: one cell is dead",
            );
        }
    }
    if state_of_charge.is_some_and(|charge| charge < discharged_below) {
        return (
            Verdict::Discharged,
            "rest voltage below the discharged limit: charge fully, then test again",
        );
    }
    let Some(fraction) = fraction else {
        return (Verdict::Untested, why_no_fraction(test));
    };
    if charged && fraction.health < limits.failed_below {
        return (
            Verdict::Failed,
            "charged, yet below the failed limit of its rating",
        );
    }
    match table_of_the_load_test(test) {
        Some(true) => {
            return (
                Verdict::Fit,
                "load test holds the least voltage for its temperature",
            );
        }
        Some(false) if charged => {
            return (
                Verdict::Worn,
                "charged, and load test below the least voltage for its temperature",
            );
        }
        _ => {}
    }
    if fraction.health >= limits.worn_below && table_of_the_load_test(test).is_none() {
        return (Verdict::Fit, "reading within its rating");
    }
    match (charged, state_of_charge) {
        (true, _) => (
            Verdict::Worn,
            "charged, yet below the worn limit of its rating",
        ),
        (false, Some(_)) => (
            Verdict::Discharged,
            "weak reading at part charge: charge fully, then test again",
        ),
        (false, None) => (Verdict::Untested, WEAK_WITHOUT_REST),
    }
}

/// Whether a load test made as the table asks holds its least voltage; `None` for any other test.
fn table_of_the_load_test(test: &TestReading) -> Option<bool> {
    let (volts, MeasuredKind::LoadTestV) = test.measured? else {
        return None;
    };
    if let (Some((load_a, seconds)), Some((rated_a, standard))) = (test.load, test.rated)
        && !load_test::is_standard_load(load_a, seconds, rated_a, standard)
    {
        return None;
    }
    Some(volts >= load_test::least_voltage_v(reading::load_temperature_c(test))?)
}

fn why_no_fraction(test: &TestReading) -> &'static str {
    match (test.measured, test.rated) {
        (None, _) => "no reading of cranking ability",
        (Some(_), None) => "no rating to compare the reading with",
        (Some(_), Some(_)) => "reading does not fit the rating: check its unit and the rating",
    }
}
