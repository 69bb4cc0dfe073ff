//! Exact answers about a share of yes-or-no trials, for few trials and shares near 0 or 1.
//!
//! Fails for no trials, more successes than trials, or a share outside 0 to 1. Limits that are
//! right on average rather than always are left to `wilson`.

use crate::distributions::beta_quantile;
use crate::input::{InputError, open_unit, setting};
use crate::limits::Limits;

/// Limits that hold their confidence for every true share (Clopper and Pearson, Biometrika 26:404,
/// 1934): `B(a/2; x, n-x+1)` and `B(1-a/2; x+1, n-x)`. At 0 and n one end is exact.
pub fn exact_limits(successes: u64, trials: u64, confidence: f64) -> Result<Limits, InputError> {
    open_unit("confidence", confidence)?;
    let (x, n) = counts(successes, trials)?;
    let tail = (1.0 - confidence) / 2.0;
    let lower = if successes == 0 {
        0.0
    } else {
        beta_quantile(tail, x, n - x + 1.0)
    };
    let upper = if successes == trials {
        1.0
    } else {
        beta_quantile(1.0 - tail, x + 1.0, n - x)
    };
    Ok(Limits { lower, upper })
}

fn counts(successes: u64, trials: u64) -> Result<(f64, f64), InputError> {
    let n = setting("trials", trials as f64, "1 or more", |trials| trials >= 1.0)?;
    let x = setting("successes", successes as f64, "at most the trials", |x| {
        x <= n
    })?;
    Ok((x, n))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distributions::beta_lower_tail;

    /// The chance of `successes` or more of `trials` when each succeeds with `share`: the regularised
    /// incomplete beta function (Abramowitz and Stegun 26.5.24).
    fn share_at_least(successes: u64, trials: u64, share: f64) -> Result<f64, InputError> {
        let (x, n) = counts(successes, trials)?;
        Ok(if successes == 0 {
            1.0
        } else {
            beta_lower_tail(x, n - x + 1.0, share)
        })
    }

    #[test]
    fn tails_agree_with_sums_of_binomial_terms() {
        let binomial = |n: u64, k: u64, p: f64| {
            let ways = (0..k).fold(1.0, |ways, i| ways * (n - i) as f64 / (i + 1) as f64);
            ways * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32)
        };
        for (n, p) in [(5_u64, 0.02), (15, 0.3), (40, 0.75)] {
            for x in 0..=n {
                let sum: f64 = (x..=n).map(|k| binomial(n, k, p)).sum();
                let tail = share_at_least(x, n, p).unwrap();
                assert!(
                    (tail - sum).abs() < 1e-10,
                    "{x} of {n} at {p}: {tail} {sum}"
                );
            }
        }
    }

    #[test]
    fn each_limit_leaves_half_the_doubt_on_its_side() {
        let limits = exact_limits(14, 15, 0.95).unwrap();
        assert!((share_at_least(14, 15, limits.lower).unwrap() - 0.025).abs() < 1e-9);
        assert!((1.0 - share_at_least(15, 15, limits.upper).unwrap() - 0.025).abs() < 1e-9);
        assert_eq!(exact_limits(0, 9, 0.95).unwrap().lower, 0.0);
        assert_eq!(exact_limits(9, 9, 0.95).unwrap().upper, 1.0);
        assert!(exact_limits(1, 0, 0.95).is_err() && exact_limits(3, 2, 0.95).is_err());
    }
}
