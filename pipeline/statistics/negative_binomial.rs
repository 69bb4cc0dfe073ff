//! Counts that spread wider than Poisson: tails and fit of the negative binomial.
//!
//! Fails for a mean or size that is not above 0 and for no counts. Exposures that differ are left
//! to `gamma_poisson`.

use super::distributions::{beta_lower_tail, gamma_lower_tail};
use super::gamma_poisson::fit_gamma_poisson;
use super::input::{InputError, not_negative};

/// A negative binomial of a mean and a size: the variance is `mean + mean^2 / size`. An infinite
/// size is Poisson.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NegativeBinomial {
    pub mean: f64,
    pub size: f64,
}

impl NegativeBinomial {
    pub fn new(mean: f64, size: f64) -> Result<Self, InputError> {
        not_negative("mean", mean)?;
        if size.is_nan() || size <= 0.0 {
            return Err(InputError::Setting {
                what: "size",
                value: size,
                needed: "above 0",
            });
        }
        Ok(Self { mean, size })
    }

    /// Mean and size by maximum likelihood; the mean is that of the counts.
    pub fn fit(counts: &[u64]) -> Result<Self, InputError> {
        let law = fit_gamma_poisson(counts, &vec![1.0; counts.len()])?;
        Self::new(law.mean, law.size)
    }

    pub fn variance(&self) -> f64 {
        self.mean + self.mean * self.mean / self.size
    }

    /// The chance of `count` or more: the regularised incomplete beta function at
    /// `mean / (mean + size)` (Abramowitz and Stegun 26.5.26).
    pub fn at_least(&self, count: u64) -> f64 {
        let count = count as f64;
        if count == 0.0 {
            1.0
        } else if self.mean == 0.0 {
            0.0
        } else if self.size.is_infinite() {
            gamma_lower_tail(count, self.mean)
        } else {
            beta_lower_tail(count, self.size, self.mean / (self.mean + self.size))
        }
    }

    /// The chance of exactly `count`.
    pub fn exactly(&self, count: u64) -> f64 {
        self.at_least(count) - self.at_least(count.saturating_add(1))
    }
}
