//! Counts that spread wider than Poisson: tails and fit of the negative binomial.
//!
//! Fails for a mean or size that is not above 0 and for no counts. Exposures that differ are left
//! to `gamma_poisson`.

use super::gamma_poisson::{best_size, fit_gamma_poisson, ln_rising};
use crate::distributions::{beta_lower_tail, digamma_rise, gamma_lower_tail, ln_gamma};
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

/// As [`NegativeBinomial::fit`] for counts told as (count, how often it came): the work grows with
/// the distinct counts only. With equal exposures the mean's estimate is the counts' mean whatever
/// the size, so only the size is sought.
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
    // The slope of the log-likelihood in the size. Terms of the mean are shared out among the counts,
    // so that each bracket stays small where the size is great.
    let slope = |size: f64| -> f64 {
        let each = (mean / size).ln_1p() / mean;
        tally
            .iter()
            .map(|&(count, times)| {
                let count = count as f64;
                times as f64 * (digamma_rise(size, count) - count * each)
            })
            .sum()
    };
    let size = best_size(slope, |size| tallied_log_likelihood(tally, mean, size));
    NegativeBinomial::new(mean, size)
}

fn tallied_log_likelihood(tally: &[(u64, u64)], mean: f64, size: f64) -> f64 {
    let term = |count: u64| {
        let count = count as f64;
        if size.is_infinite() {
            return count * mean.ln() - mean - ln_gamma(count + 1.0);
        }
        ln_rising(size, count) - ln_gamma(count + 1.0) - size * (mean / size).ln_1p()
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

    /// The root of the score by mpmath 1.4.1 (50 digits): few great counts, many with one far out, and
    /// counts that spread hardly wider than Poisson.
    #[test]
    fn large_and_skewed_counts_keep_the_digits_of_the_size() {
        let great = [
            (900_000_000, 1),
            (1_000_000_000, 1),
            (1_100_000_000, 1),
            (1_200_000_000, 1),
        ];
        let skewed = [
            (0, 990),
            (1, 3),
            (2, 2),
            (40, 2),
            (3_000, 2),
            (1_000_000, 1),
        ];
        let near_poisson = [
            (0, 3_700),
            (1, 3_660),
            (2, 1_840),
            (3, 610),
            (4, 145),
            (5, 35),
            (6, 10),
        ];
        for (tally, size) in [
            (&great[..], 87.54290837674326),
            (&skewed[..], 0.000_707_970_991_135_150_5),
            (&near_poisson[..], 91.55095317628883),
        ] {
            let tallied = fit_tallied(tally).unwrap().size;
            assert!((tallied / size - 1.0).abs() < 1e-11, "{tallied} {size}");
            let counts: Vec<u64> = tally
                .iter()
                .flat_map(|&(count, times)| std::iter::repeat_n(count, times as usize))
                .collect();
            let each = NegativeBinomial::fit(&counts).unwrap().size;
            assert!((each / size - 1.0).abs() < 1e-9, "{each} {size}");
        }
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
