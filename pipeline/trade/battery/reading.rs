//! From a reading to the fraction of rated cranking ability at 25 °C and full charge, and back.
//!
//! Small-signal readings (conductance, resistance, and the cranking currents testers derive from
//! them): fraction = (A / A_rated) / (t(T) s(c)), with A the reading as a current by the rating's
//! standard, t(T) = exp(0.006 (T - 25)) and s(c) = 1 - 0.5 (1 - c)^1.5 for state of charge c.
//! Load test: the drop U0 - U at current I gives A = 3.6 V I / (U0 - U), with
//! t(T) = exp(0.008 (T - 25)), the slope of the load-test table between -18 and 20 °C.
//!
//! The factors are common practice, no source, and stand here once as constants; the uncertainty of
//! the result counts them. A reading that cannot be compared with its rating gives `None`. The
//! verdict is left to [`super::verdict`].

use std::fmt;

use super::charge::{self, TemperatureRule};
use super::rating::{self, convert};
use super::{TestReading, load_test};
use crate::words::{Chemistry, MeasuredKind, RatingStandard};

/// Temperature that readings are brought to, °C.
pub const REFERENCE_C: f64 = 25.0;
/// Cranking current by SAE J537 for each siemens at 25 °C and full charge: 600 A goes with 200 S.
pub const AMPERES_PER_SIEMENS: f64 = 3.0;
/// Volts a full battery at 25 °C drops under its whole rated SAE current: at half of it 1.8 V, so
/// that the load test's 9.6 V is reached at about 0.6 of the rating.
pub const FULL_CURRENT_DROP_V: f64 = 3.6;
/// Relative change of small-signal readings for each °C.
pub const READING_SLOPE_PER_C: f64 = 0.006;
/// Relative change of cranking ability under load for each °C.
pub const LOAD_SLOPE_PER_C: f64 = 0.008;
/// A fraction above this is no battery but a wrong unit or rating.
pub const HIGHEST_FRACTION: f64 = 2.0;

/// One-sigma relative errors: repeating a test, then the factors above, then what is not known.
const REPEAT_SIGMA: f64 = 0.04;
const AMPERES_PER_SIEMENS_SIGMA: f64 = 0.12;
const LOAD_DROP_SIGMA: f64 = 0.12;
const KNOWN_TEMPERATURE_SIGMA_C: f64 = 3.0;
const UNKNOWN_TEMPERATURE_SIGMA_C: f64 = 12.0;
const UNKNOWN_CHARGE_SIGMA: f64 = 0.10;
const NEARLY_EMPTY_SIGMA: f64 = 0.25;

/// What was taken for granted to read a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Assumed {
    /// No chemistry: read as flooded.
    pub flooded: bool,
    /// No temperature: 25 °C.
    pub reference_temperature: bool,
    /// No rest voltage: full charge.
    pub full_charge: bool,
    /// Load test without its current: half the rating.
    pub half_rated_load: bool,
    /// Reading and rating are by two standards.
    pub rating_converted: bool,
    /// The reading is no cranking current: a factor of the trade was used.
    pub factor_of_the_trade: bool,
}

impl Assumed {
    /// What was assumed, in words.
    pub fn texts(self) -> impl Iterator<Item = &'static str> {
        [
            (self.flooded, "chemistry not given, read as flooded"),
            (
                self.reference_temperature,
                "temperature not given, 25 °C assumed",
            ),
            (
                self.full_charge,
                "rest voltage not given, full charge assumed",
            ),
            (
                self.half_rated_load,
                "load current not given, half the rating assumed",
            ),
            (
                self.rating_converted,
                "reading and rating by different standards, converted approximately",
            ),
            (
                self.factor_of_the_trade,
                "reading is no cranking current, compared by an approximate factor",
            ),
        ]
        .into_iter()
        .filter_map(|(holds, text)| holds.then_some(text))
    }
}

impl fmt::Display for Assumed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, text) in self.texts().enumerate() {
            write!(f, "{}{text}", if index > 0 { "; " } else { "" })?;
        }
        Ok(())
    }
}

/// A reading as a fraction of the rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fraction {
    /// At 25 °C and full charge: 1 is a battery that just meets its rating.
    pub health: f64,
    /// One sigma of `health`.
    pub health_sigma: f64,
    /// At 25 °C and the charge the battery had.
    pub at_its_charge: f64,
    pub assumed: Assumed,
}

/// The fraction of rated cranking ability a test shows, with its uncertainty.
///
/// `None` without a reading, without a rating where one is needed, or where the values cannot be
/// (no resistance, no drop under load, more than twice the rating).
pub fn normalise(test: &TestReading, state_of_charge: Option<f64>) -> Option<Fraction> {
    let (value, kind) = test
        .measured
        .filter(|(value, _)| value.is_finite() && *value >= 0.0)?;
    let rated = test
        .rated
        .filter(|(rated_a, _)| rated_a.is_finite() && *rated_a > 0.0);
    let load = test
        .load
        .filter(|(load_a, _)| load_a.is_finite() && *load_a > 0.0);
    let mut assumed = Assumed {
        flooded: test.chemistry.is_none(),
        reference_temperature: test.temperature_c.is_none(),
        full_charge: state_of_charge.is_none(),
        ..Assumed::default()
    };
    let (raw, factor_sigma) = match kind {
        MeasuredKind::ConductanceS => (
            value * AMPERES_PER_SIEMENS / sae_a(rated?),
            AMPERES_PER_SIEMENS_SIGMA,
        ),
        MeasuredKind::ResistanceMohm => {
            let conductance_s = 1000.0 / value;
            (
                conductance_s * AMPERES_PER_SIEMENS / sae_a(rated?),
                AMPERES_PER_SIEMENS_SIGMA,
            )
        }
        MeasuredKind::LoadTestV => {
            let share_of_rated = match (load, rated) {
                (Some((load_a, _)), Some(rated)) => load_a / sae_a(rated),
                (Some(_), None) => return None,
                (None, _) => 0.5,
            };
            assumed.half_rated_load = load.is_none();
            let before_v = test
                .rest_voltage_v
                .or_else(|| full_rest_voltage_v(test.chemistry))?;
            let drop_v = before_v - value;
            if drop_v <= 0.0 {
                return None;
            }
            (
                FULL_CURRENT_DROP_V * share_of_rated / drop_v,
                LOAD_DROP_SIGMA,
            )
        }
        current => {
            let (rated_a, rated_by) = rated?;
            let converted = convert(value, current.rating_standard()?, rated_by);
            assumed.rating_converted = converted.is_approximate();
            (converted.current_a / rated_a, converted.relative_sigma)
        }
    };
    assumed.factor_of_the_trade = kind.rating_standard().is_none();

    let temperature_c = test.temperature_c.unwrap_or(REFERENCE_C);
    let at_its_charge = raw / temperature_factor(kind, temperature_c);
    let health = at_its_charge / charge_factor(state_of_charge.unwrap_or(1.0));
    if !health.is_finite() || health > HIGHEST_FRACTION {
        return None;
    }
    let temperature_sigma_c = if assumed.reference_temperature {
        UNKNOWN_TEMPERATURE_SIGMA_C
    } else {
        KNOWN_TEMPERATURE_SIGMA_C
    };
    let relative_sigma = REPEAT_SIGMA
        .hypot(factor_sigma)
        .hypot(slope_per_c(kind) * temperature_sigma_c)
        .hypot(charge_relative_sigma(test, state_of_charge));
    // A reading of nothing is still as uncertain as a step of the scale.
    let health_sigma = (health * relative_sigma).max(0.01);
    Some(Fraction {
        health,
        health_sigma,
        at_its_charge,
        assumed,
    })
}

/// The reading a test of this kind shows on a battery of this health: the inverse of [`normalise`].
///
/// In the unit of the kind. `health` is the fraction of the rating at 25 °C and full charge, above 0;
/// `state_of_charge` 0 to 1. A load test is at half the rating by SAE J537; its voltage does not go
/// below 0. Without noise: that is for the caller to add.
pub fn expected_reading(
    kind: MeasuredKind,
    rated_value: f64,
    rated_standard: RatingStandard,
    chemistry: Chemistry,
    health: f64,
    temperature_c: f64,
    state_of_charge: f64,
) -> f64 {
    let fraction =
        health * temperature_factor(kind, temperature_c) * charge_factor(state_of_charge);
    let sae_a = fraction * sae_a((rated_value, rated_standard));
    match kind {
        MeasuredKind::ConductanceS => sae_a / AMPERES_PER_SIEMENS,
        MeasuredKind::ResistanceMohm => 1000.0 * AMPERES_PER_SIEMENS / sae_a,
        MeasuredKind::LoadTestV => {
            let rule = TemperatureRule::default();
            let rest_v =
                charge::rest_voltage_v(state_of_charge, Some(chemistry), Some(temperature_c), rule);
            (rest_v.unwrap_or(0.0) - FULL_CURRENT_DROP_V * 0.5 / fraction).max(0.0)
        }
        current => {
            let standard = current.rating_standard().unwrap_or(RatingStandard::Sae);
            convert(fraction * rated_value, rated_standard, standard).current_a
        }
    }
}

/// The load a test of [`MeasuredKind::LoadTestV`] is made with when nothing else is said: A and s.
pub fn standard_load(rated_value: f64, rated_standard: RatingStandard) -> (f64, f64) {
    (
        load_test::load_current_a(rated_value, rated_standard),
        load_test::LOAD_SECONDS,
    )
}

/// Cranking ability at a state of charge as a share of that at full charge: 1 full, 0.94 at three
/// quarters, 0.82 at half, 0.5 empty.
pub fn charge_factor(state_of_charge: f64) -> f64 {
    1.0 - 0.5 * (1.0 - state_of_charge.clamp(0.0, 1.0)).powf(1.5)
}

/// A reading at this temperature as a share of that at 25 °C. Beyond -40 and 80 °C it stays.
pub fn temperature_factor(kind: MeasuredKind, temperature_c: f64) -> f64 {
    (slope_per_c(kind) * (temperature_c.clamp(-40.0, 80.0) - REFERENCE_C)).exp()
}

const fn slope_per_c(kind: MeasuredKind) -> f64 {
    match kind {
        MeasuredKind::LoadTestV => LOAD_SLOPE_PER_C,
        _ => READING_SLOPE_PER_C,
    }
}

fn sae_a((rated_a, standard): (f64, RatingStandard)) -> f64 {
    rating::convert(rated_a, standard, RatingStandard::Sae).current_a
}

fn full_rest_voltage_v(chemistry: Option<Chemistry>) -> Option<f64> {
    charge::rest_voltage_v(1.0, chemistry, None, TemperatureRule::None)
}

/// How much of the reading hangs on the state of charge: half the change over one sigma each way, and
/// more on a battery so empty that the current it gives says little of what it could.
fn charge_relative_sigma(test: &TestReading, state_of_charge: Option<f64>) -> f64 {
    let Some(charge) = state_of_charge else {
        return UNKNOWN_CHARGE_SIGMA;
    };
    let sigma = charge::state_of_charge_sigma(test.chemistry, test.surface_charge_removed);
    let change = charge_factor(charge + sigma) - charge_factor(charge - sigma);
    let nearly_empty = if charge < 0.2 {
        NEARLY_EMPTY_SIGMA
    } else {
        0.0
    };
    (change / (2.0 * charge_factor(charge))).hypot(nearly_empty)
}
