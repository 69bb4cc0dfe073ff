//! A lower and an upper limit, and the normal deviate that belongs to a confidence level.
//!
//! Fails only for a confidence outside (0, 1). How limits are formed is left to each estimator.

use super::distributions::normal_quantile;
use super::input::{InputError, open_unit};

/// Two-sided limits. An end that the data leave open is infinite (or 0 for a positive quantity).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub lower: f64,
    pub upper: f64,
}

impl Limits {
    /// `estimate * exp(-+ z * standard error of the logarithm)`.
    pub fn log_normal(estimate: f64, z: f64, se_of_log: f64) -> Self {
        let factor = (z * se_of_log).exp();
        Self {
            lower: estimate / factor,
            upper: estimate * factor,
        }
    }

    /// `estimate -+ z * standard error`.
    pub fn normal(estimate: f64, z: f64, se: f64) -> Self {
        Self {
            lower: estimate - z * se,
            upper: estimate + z * se,
        }
    }

    /// Both ends passed through a rising function.
    pub fn map(self, rising: impl Fn(f64) -> f64) -> Self {
        Self {
            lower: rising(self.lower),
            upper: rising(self.upper),
        }
    }

    pub fn contains(&self, value: f64) -> bool {
        self.lower <= value && value <= self.upper
    }
}

/// The normal deviate for two-sided limits: 1.959963985 for a confidence of 0.95.
pub fn two_sided_z(confidence: f64) -> Result<f64, InputError> {
    open_unit("confidence", confidence)?;
    Ok(normal_quantile(0.5 + confidence / 2.0))
}
