//! Load test: the least voltage a good battery shows after 15 s at half its rated cold cranking
//! current, by temperature.
//!
//! The battery must be charged (75 % or more) and rid of surface charge before. Below the coldest
//! line of the table the least voltage stays as it is there.

use super::charge::between;
use super::rating;
use crate::words::RatingStandard;

/// Seconds under load.
pub const LOAD_SECONDS: f64 = 15.0;

/// Temperature in °C and least voltage in V: the trade's common table (from memory, not
/// traced to an edition). Others differ at the cold end (8.0 V at -18 °C).
pub const LEAST_VOLTAGE: &[(f64, f64)] = &[
    (-18.0, 8.5),
    (-12.0, 8.7),
    (-7.0, 8.9),
    (-1.0, 9.1),
    (4.0, 9.3),
    (10.0, 9.4),
    (16.0, 9.5),
    (20.0, 9.6),
];

/// Least voltage in V at this battery temperature, linear between the lines of the table; 9.6 V at
/// 20 °C and above. `None` where the temperature is no number.
pub fn least_voltage_v(temperature_c: f64) -> Option<f64> {
    temperature_c
        .is_finite()
        .then(|| between(LEAST_VOLTAGE, temperature_c, |line| *line))
}

/// The load of the test in A: half the rated cold cranking current by SAE J537.
pub fn load_current_a(rated_a: f64, standard: RatingStandard) -> f64 {
    rating::convert(rated_a, standard, RatingStandard::Sae).current_a / 2.0
}

/// Whether a load of this current and time is the test the table is for, within a tenth of the
/// current and 5 s.
pub fn is_standard_load(
    current_a: f64,
    seconds: f64,
    rated_a: f64,
    standard: RatingStandard,
) -> bool {
    let asked_a = load_current_a(rated_a, standard);
    (current_a - asked_a).abs() <= 0.1 * asked_a && (seconds - LOAD_SECONDS).abs() <= 5.0
}
