//! From a reading to the fraction of rated cranking ability at 25 °C and full charge, and back.
//!
//! Small-signal readings (conductance, resistance, and the cranking currents testers derive from
//! them): fraction = (A / A_rated) / (t(T) s(c)), with A the reading as a current by the rating's
//! standard, t(T) = exp(0.006 (T - 25)) where the tester has not allowed for the temperature, and
//! s(c) = 1 - 0.5 (1 - c)^1.5 for the state of charge c of a lead-acid battery. Testers that show a
//! cranking current mostly have allowed for it; where nobody says, that is assumed and the doubt counts.
//! Load test: a battery that just holds the table's least voltage L(T) under half its rating is at the
//! limit of worn, so fraction = 0.7 (I / (A_rated / 2)) (U0 - L(T)) / (U0 - U) / s(c), with U0 the
//! rest voltage. The table holds the temperature.
//!
//! The factors are common practice, no source, and stand here once as constants; the uncertainty of
//! the result counts them. A reading that cannot be compared with its rating gives `None`. The
//! verdict is left to [`super::verdict`].

use std::fmt;

use super::charge::{self, TemperatureRule};
use super::load_test::least_voltage_v;
use super::rating::{self, convert};
use super::{TestReading, load_test};
use crate::words::{Chemistry, MeasuredKind, RatingStandard};

/// Temperature that readings are brought to, °C.
pub const REFERENCE_C: f64 = 25.0;
/// Cranking current by SAE J537 for each siemens at 25 °C and full charge: 600 A goes with 200 S.
pub const AMPERES_PER_SIEMENS: f64 = 3.0;
/// Share of its rating at which a battery is worn: the limit of replacement programmes with
/// small-signal testers, and the one a load test just passed is taken for. New batteries then drop
/// to about 10.5 V under the load test (common practice, no source).
pub const WORN_SHARE: f64 = 0.70;
/// Relative doubt whether a tester has allowed for the temperature, where nobody says: about one in
/// five is unlike what is common for its kind (common practice, no source).
const COMPENSATION_DOUBT: f64 = 0.45;
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
    /// Nobody says whether the tester has allowed for the temperature: as is common for its kind.
    pub compensation: bool,
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
                self.compensation,
                "not said whether the tester allows for temperature, taken as is common for its kind",
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
    let compensated = test
        .temperature_compensated
        .unwrap_or(usually_compensated(kind));
    let mut assumed = Assumed {
        flooded: test.chemistry.is_none(),
        reference_temperature: test.temperature_c.is_none() && !compensated,
        compensation: test.temperature_compensated.is_none(),
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
            let (drop_v, drop_of_worn_v) = (
                before_v - value,
                before_v - least_voltage_v(load_temperature_c(test))?,
            );
            if drop_v <= 0.0 || drop_of_worn_v <= 0.0 {
                return None;
            }
            (
                WORN_SHARE * (share_of_rated / 0.5) * drop_of_worn_v / drop_v,
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

    let allowed_for = if compensated || kind == MeasuredKind::LoadTestV {
        1.0
    } else {
        temperature_factor(kind, test.temperature_c.unwrap_or(REFERENCE_C))
    };
    let (instrument_factor, instrument_sigma) = test
        .instrument
        .filter(|(factor, sigma)| *factor > 0.0 && factor.is_finite() && sigma.is_finite())
        .unwrap_or((1.0, 0.0));
    let at_its_charge = raw / allowed_for / instrument_factor;
    let health = at_its_charge / charge_factor(test.chemistry, state_of_charge.unwrap_or(1.0));
    if !health.is_finite() || health > HIGHEST_FRACTION {
        return None;
    }
    let relative_sigma = REPEAT_SIGMA
        .hypot(factor_sigma)
        .hypot(instrument_sigma)
        .hypot(temperature_relative_sigma(test, kind, compensated))
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
/// below 0. The tester does what [`usually_compensated`] says of its kind. Without noise: that is for
/// the caller to add.
pub fn expected_reading(
    kind: MeasuredKind,
    rated_value: f64,
    rated_standard: RatingStandard,
    chemistry: Chemistry,
    health: f64,
    temperature_c: f64,
    state_of_charge: f64,
) -> f64 {
    let by_temperature = if usually_compensated(kind) || kind == MeasuredKind::LoadTestV {
        1.0
    } else {
        temperature_factor(kind, temperature_c)
    };
    let fraction = health * by_temperature * charge_factor(Some(chemistry), state_of_charge);
    let sae_a = fraction * sae_a((rated_value, rated_standard));
    match kind {
        MeasuredKind::ConductanceS => sae_a / AMPERES_PER_SIEMENS,
        MeasuredKind::ResistanceMohm => 1000.0 * AMPERES_PER_SIEMENS / sae_a,
        MeasuredKind::LoadTestV => {
            let rule = TemperatureRule::default();
            let rest_v =
                charge::rest_voltage_v(state_of_charge, Some(chemistry), Some(temperature_c), rule);
            let rest_v = rest_v.unwrap_or(0.0);
            let drop_of_worn_v = rest_v - least_voltage_v(temperature_c).unwrap_or(rest_v);
            (rest_v - WORN_SHARE * drop_of_worn_v / fraction).max(0.0)
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

/// Cranking ability at a state of charge as a share of that at full charge. Lead-acid: 1 full, 0.94 at
/// three quarters, 0.82 at half, 0.5 empty. Lithium iron phosphate holds its resistance until it is
/// nearly empty: 1 (common practice, no source).
pub fn charge_factor(chemistry: Option<Chemistry>, state_of_charge: f64) -> f64 {
    match chemistry {
        Some(Chemistry::Lithium) => 1.0,
        _ => 1.0 - 0.5 * (1.0 - state_of_charge.clamp(0.0, 1.0)).powf(1.5),
    }
}

/// Whether testers of this kind mostly show what the battery would read at 25 °C: those that show a
/// cranking current do; conductance, resistance and the voltage under a load are shown as they are
/// (common practice, no source).
pub const fn usually_compensated(kind: MeasuredKind) -> bool {
    !matches!(
        kind,
        MeasuredKind::ConductanceS | MeasuredKind::ResistanceMohm | MeasuredKind::LoadTestV
    )
}

/// What a new battery reads at 25 °C and full charge as a share of its rating, one sigma of that common
/// level and one of a battery about it: a label states the least a battery gives and makers keep near
/// above it (common practice, no source).
pub const NEW_SHARE: (f64, f64, f64) = (1.0, 0.06, 0.06);

/// Temperature at which a load test is to be held against its table.
pub(super) fn load_temperature_c(test: &TestReading) -> f64 {
    match test.temperature_compensated {
        Some(true) => REFERENCE_C,
        // Without a temperature the warm end of the table is the stricter one.
        _ => test.temperature_c.unwrap_or(REFERENCE_C),
    }
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

/// What the temperature leaves in doubt: how well it is known where it is allowed for here, and where
/// nobody says whether the tester did, a share of what it would change.
fn temperature_relative_sigma(test: &TestReading, kind: MeasuredKind, compensated: bool) -> f64 {
    let slope = slope_per_c(kind);
    let known = match (compensated, test.temperature_c) {
        (true, _) => 0.0,
        (false, Some(_)) => slope * KNOWN_TEMPERATURE_SIGMA_C,
        (false, None) => slope * UNKNOWN_TEMPERATURE_SIGMA_C,
    };
    let off_reference_c = test
        .temperature_c
        .map_or(UNKNOWN_TEMPERATURE_SIGMA_C, |celsius| {
            (celsius.clamp(-40.0, 80.0) - REFERENCE_C).abs()
        });
    match test.temperature_compensated {
        Some(_) => known,
        None => known.hypot(COMPENSATION_DOUBT * slope * off_reference_c),
    }
}

/// How much of the reading hangs on the state of charge: half the change over one sigma each way, and
/// more on a battery so empty that the current it gives says little of what it could.
fn charge_relative_sigma(test: &TestReading, state_of_charge: Option<f64>) -> f64 {
    let Some(charge) = state_of_charge else {
        return UNKNOWN_CHARGE_SIGMA;
    };
    let sigma = charge::state_of_charge_sigma(test.chemistry, test.surface_charge_removed);
    let factor = |charge: f64| charge_factor(test.chemistry, charge);
    let change = factor(charge + sigma) - factor(charge - sigma);
    let nearly_empty = if charge < 0.2 {
        NEARLY_EMPTY_SIGMA
    } else {
        0.0
    };
    (change / (2.0 * factor(charge))).hypot(nearly_empty)
}
