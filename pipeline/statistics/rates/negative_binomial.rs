//! Counts that spread wider than Poisson: tails and fit of the negative binomial.
//!
//! Fails for a mean or size that is not above 0 and for no counts. Exposures that differ are left
//! to `gamma_poisson`.

use super::gamma_poisson::fit_gamma_poisson;
use crate::distributions::{beta_lower_tail, gamma_lower_tail, ln_gamma};
use crate::input::{InputError, at_least, not_negative};

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

/// Sizes searched: below the first nearly every count is 0, above the last it is Poisson.
const SIZES: (f64, f64) = (1e-4, 1e7);
/// Points of the first search over ln size.
const GRID: usize = 48;
/// Half the golden section's complement.
const GOLDEN: f64 = 0.381_966_011_250_105_1;

/// As [`NegativeBinomial::fit`] for counts told as (count, how often it came): the work grows with
/// the distinct counts only. With equal exposures the mean's estimate is the counts' mean whatever
/// the size, so the search is over the size alone.
pub fn fit_tallied(tally: &[(u64, u64)]) -> Result<NegativeBinomial, InputError> {
    let counts: u64 = tally.iter().map(|(_, times)| times).sum();
    at_least("counts", counts as usize, 1)?;
    let total: f64 = tally
        .iter()
        .map(|&(count, times)| count as f64 * times as f64)
        .sum();
    let mean = total / counts as f64;
    let poisson = NegativeBinomial::new(mean, f64::INFINITY)?;
    if total == 0.0 || counts == 1 {
        return Ok(poisson);
    }
    let at = |ln_size: f64| tallied_log_likelihood(tally, mean, ln_size.exp());
    let (low, high) = (SIZES.0.ln(), SIZES.1.ln());
    let width = (high - low) / (GRID - 1) as f64;
    let start = (0..GRID)
        .map(|point| low + width * point as f64)
        .map(|ln_size| (ln_size, at(ln_size)))
        .fold((low, f64::NEG_INFINITY), |best, next| {
            if next.1 > best.1 { next } else { best }
        });
    let (mut low, mut high) = ((start.0 - width).max(low), (start.0 + width).min(high));
    while high - low > 1e-9 {
        let inner = (low + GOLDEN * (high - low), high - GOLDEN * (high - low));
        if at(inner.0) > at(inner.1) {
            high = inner.1;
        } else {
            low = inner.0;
        }
    }
    let size = (0.5 * (low + high)).exp();
    let poisson_height: f64 = tally
        .iter()
        .map(|&(count, times)| {
            let count = count as f64;
            times as f64 * (count * mean.ln() - mean - ln_gamma(count + 1.0))
        })
        .sum();
    // The gain over Poisson must exceed rounding.
    if size > 0.5 * SIZES.1 || at(size.ln()) <= poisson_height + 1e-9 {
        return Ok(poisson);
    }
    NegativeBinomial::new(mean, size)
}

fn tallied_log_likelihood(tally: &[(u64, u64)], mean: f64, size: f64) -> f64 {
    let term = |count: u64| {
        let rising: f64 = if count <= 30 {
            (0..count).map(|k| (size + k as f64).ln()).sum()
        } else {
            ln_gamma(size + count as f64) - ln_gamma(size)
        };
        let count = count as f64;
        rising - ln_gamma(count + 1.0) - size * (mean / size).ln_1p()
            + count * (mean.ln() - (size + mean).ln())
    };
    tally
        .iter()
        .map(|&(count, times)| times as f64 * term(count))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tally_is_fitted_as_its_counts_are() {
        let tally = [(0, 41), (1, 17), (2, 9), (3, 6), (5, 3), (8, 2), (34, 1)];
        let counts: Vec<u64> = tally
            .iter()
            .flat_map(|&(count, times)| std::iter::repeat_n(count, times as usize))
            .collect();
        let (each, tallied) = (
            NegativeBinomial::fit(&counts).unwrap(),
            fit_tallied(&tally).unwrap(),
        );
        assert!(
            (each.mean - tallied.mean).abs() < 1e-9,
            "{each:?} {tallied:?}"
        );
        assert!(
            (each.size / tallied.size - 1.0).abs() < 1e-5,
            "{each:?} {tallied:?}"
        );
    }

    #[test]
    fn counts_that_spread_no_wider_than_poisson_have_no_finite_size() {
        let even = fit_tallied(&[(2, 10), (3, 10)]).unwrap();
        assert_eq!((even.mean, even.size), (2.5, f64::INFINITY));
        let none = fit_tallied(&[(0, 7)]).unwrap();
        assert_eq!((none.mean, none.at_least(1)), (0.0, 0.0));
        assert!(fit_tallied(&[]).is_err());
    }
}
