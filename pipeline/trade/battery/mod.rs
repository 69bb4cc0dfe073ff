//! What one test of a 12 V battery says: state of charge, cranking ability left, verdict.
//!
//! [`charge`] turns rest voltage into state of charge, [`rating`] holds the standards of cranking
//! current, [`load_test`] the least voltages under load, [`reading`] brings any reading to a fraction
//! of the rating at 25 °C and full charge (and back, for an invented fleet), [`verdict`] decides.
//! A missing value is never a failure: the result says what was assumed and grows less certain.
//! How a battery changes from test to test is left to the analysis.

pub mod charge;
pub mod load_test;
pub mod rating;
pub mod reading;
pub mod verdict;

use super::words::{Chemistry, MeasuredKind, RatingStandard};

/// One test as it was made; whatever the shop did not write down is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TestReading {
    /// Voltage at rest, V.
    pub rest_voltage_v: Option<f64>,
    /// Battery temperature, °C.
    pub temperature_c: Option<f64>,
    /// Whether the tester has already allowed for the temperature; where that is not known,
    /// [`reading::usually_compensated`] says what is common.
    pub temperature_compensated: Option<bool>,
    /// Whether surface charge was removed before the rest voltage was read.
    pub surface_charge_removed: Option<bool>,
    /// The reading, in the unit of its kind.
    pub measured: Option<(f64, MeasuredKind)>,
    /// Load test: current in A and seconds under load.
    pub load: Option<(f64, f64)>,
    /// Rated cranking current in A and the standard it is stated by.
    pub rated: Option<(f64, RatingStandard)>,
    pub chemistry: Option<Chemistry>,
    /// How the instrument reads against others: the factor it is high by, and one sigma of the
    /// factor's logarithm.
    pub instrument: Option<(f64, f64)>,
}

pub use reading::{Assumed, expected_reading};
pub use verdict::{Condition, VerdictLimits, assess, assess_with};
