//! Has a rate changed against the periods before? An exact answer for small counts.
//!
//! Fails for exposures that are not above 0. Given the total, the count of the latest period is
//! binomial whatever the common rate, so no approximation enters. Looking at many rates at once is
//! left to `false_discovery`.

use crate::distributions::{beta_lower_tail, beta_quantile, ln_gamma};
use crate::input::{InputError, at_least, open_unit, positive};
use crate::limits::Limits;

/// Slack when two chances are compared, as in the usual exact binomial test.
const EQUAL_CHANCE: f64 = 1.0 + 1e-7;

/// Events over exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    pub events: u64,
    pub exposure: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateChange {
    pub latest_rate: f64,
    pub previous_rate: f64,
    /// Latest over previous rate; `None` without earlier events.
    pub ratio: Option<f64>,
    /// Exact limits of the ratio; an end the data leave open is 0 or infinite.
    pub ratio_limits: Limits,
    /// Two-sided exact p; 1 without any events.
    pub p: f64,
}

/// Compares the latest period with the previous ones, pooled. Under one rate the latest count is
/// binomial with share `exposure / total exposure` (Przyborowski and Wilenski, Biometrika 31:313,
/// 1940); p adds all counts no likelier than the one seen, the limits are those of Clopper and
/// Pearson (Biometrika 26:404, 1934) turned into a ratio.
pub fn rate_change(
    latest: Counted,
    previous: &[Counted],
    confidence: f64,
) -> Result<RateChange, InputError> {
    open_unit("confidence", confidence)?;
    at_least("previous periods", previous.len(), 1)?;
    positive("exposure of the latest period", latest.exposure)?;
    let mut before = Counted {
        events: 0,
        exposure: 0.0,
    };
    for period in previous {
        positive("exposure of a previous period", period.exposure)?;
        before.events = before.events.saturating_add(period.events);
        before.exposure += period.exposure;
    }
    let (x, n) = (
        latest.events as f64,
        latest.events as f64 + before.events as f64,
    );
    let share = latest.exposure / (latest.exposure + before.exposure);
    let latest_rate = x / latest.exposure;
    let previous_rate = before.events as f64 / before.exposure;
    let tail = (1.0 - confidence) / 2.0;
    let as_ratio = |share: f64| share / (1.0 - share) * before.exposure / latest.exposure;
    let lower = if x == 0.0 {
        0.0
    } else {
        as_ratio(beta_quantile(tail, x, n - x + 1.0))
    };
    let upper = if before.events == 0 {
        f64::INFINITY
    } else {
        as_ratio(beta_quantile(1.0 - tail, x + 1.0, n - x))
    };
    Ok(RateChange {
        latest_rate,
        previous_rate,
        ratio: (before.events > 0).then(|| latest_rate / previous_rate),
        ratio_limits: Limits { lower, upper },
        p: exact_binomial_p(x, n, share),
    })
}

/// The chance of all counts no likelier than `x` out of `n`. The chances rise to the mode and fall
/// after it, so the far tail's edge is found by bisection.
fn exact_binomial_p(x: f64, n: f64, share: f64) -> f64 {
    let ln_chance = |k: f64| {
        ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0)
            + k * share.ln()
            + (n - k) * (-share).ln_1p()
    };
    let at_most = |k: f64| {
        if k >= n {
            1.0
        } else {
            beta_lower_tail(n - k, k + 1.0, 1.0 - share)
        }
    };
    let at_least = |k: f64| {
        if k <= 0.0 {
            1.0
        } else {
            beta_lower_tail(k, n - k + 1.0, share)
        }
    };
    let level = ln_chance(x) + EQUAL_CHANCE.ln();
    let mode = ((n + 1.0) * share).floor().min(n);
    let total = if x == mode {
        1.0
    } else if x < mode {
        let edge = first_where(mode, n + 1.0, |k| k > n || ln_chance(k) <= level);
        at_most(x) + if edge > n { 0.0 } else { at_least(edge) }
    } else {
        // Mirrored: the greatest count below the mode that is no likelier.
        let steps = first_where(0.0, mode + 1.0, |s| {
            s > mode || ln_chance(mode - s) <= level
        });
        at_least(x)
            + if steps > mode {
                0.0
            } else {
                at_most(mode - steps)
            }
    };
    total.min(1.0)
}

/// The least whole number in `(low, high]` that passes, when all above it pass too; `low` itself
/// must not pass.
fn first_where(mut low: f64, mut high: f64, passes: impl Fn(f64) -> bool) -> f64 {
    while high - low > 1.0 {
        let middle = (0.5 * (low + high)).floor();
        if middle <= low || middle >= high {
            break;
        }
        if passes(middle) {
            high = middle
        } else {
            low = middle
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Adding up all 2^n-weighted counts by hand.
    #[test]
    fn p_is_the_sum_of_counts_no_likelier() {
        let n = 12;
        for share in [0.03, 0.2, 0.5, 0.85] {
            let mut chances = vec![(1.0_f64 - share).powi(n)];
            for k in 0..n {
                let ratio = f64::from(n - k) / f64::from(k + 1) * share / (1.0 - share);
                chances.push(chances[k as usize] * ratio);
            }
            for x in 0..=n as usize {
                let level = chances[x] * EQUAL_CHANCE;
                let sum: f64 = chances.iter().filter(|&&chance| chance <= level).sum();
                let p = exact_binomial_p(x as f64, f64::from(n), share);
                assert!((p / sum - 1.0).abs() < 1e-9, "{share} {x}: {p} {sum}");
            }
        }
    }

    #[test]
    fn no_events_say_nothing() {
        let none = Counted {
            events: 0,
            exposure: 10.0,
        };
        let change = rate_change(none, &[none, none], 0.95).unwrap();
        assert_eq!((change.p, change.ratio), (1.0, None));
        assert_eq!(
            change.ratio_limits,
            Limits {
                lower: 0.0,
                upper: f64::INFINITY
            }
        );
        assert!(
            rate_change(
                Counted {
                    events: 1,
                    exposure: 0.0
                },
                &[none],
                0.95
            )
            .is_err()
        );
        assert!(rate_change(none, &[], 0.95).is_err());
    }
}
