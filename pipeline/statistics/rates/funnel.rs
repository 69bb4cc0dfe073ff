//! Funnel limits: how far a unit's rate may stray from the common rate by chance alone.
//!
//! Fails for a rate or exposure that is not above 0. Whether units differ in truth is left to
//! `gamma_poisson`, many comparisons to `false_discovery`.

use crate::distributions::{gamma_lower_tail, gamma_quantile, gamma_upper_tail, ln_gamma};
use crate::input::{InputError, open_unit, positive};
use crate::limits::Limits;

/// Where a unit stands against the common rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FunnelPoint {
    pub rate: f64,
    pub limits: Limits,
    /// Two-sided exact p: twice the smaller tail, at most 1.
    pub p: f64,
}

/// Exact Poisson limits of a rate at an exposure, interpolated between counts so that they run
/// smoothly (Spiegelhalter, Statistics in Medicine 24:1185, 2005, appendix A.1.1).
pub fn funnel_limits(
    common_rate: f64,
    exposure: f64,
    confidence: f64,
) -> Result<Limits, InputError> {
    positive("common rate", common_rate)?;
    positive("exposure", exposure)?;
    open_unit("confidence", confidence)?;
    let (expected, tail) = (common_rate * exposure, (1.0 - confidence) / 2.0);
    let limit = |p: f64| (interpolated_count(p, expected) / exposure).max(0.0);
    Ok(Limits {
        lower: limit(tail),
        upper: limit(1.0 - tail),
    })
}

/// A unit's rate with the funnel at its exposure.
pub fn funnel_point(
    events: u64,
    exposure: f64,
    common_rate: f64,
    confidence: f64,
) -> Result<FunnelPoint, InputError> {
    let limits = funnel_limits(common_rate, exposure, confidence)?;
    let (count, expected) = (events as f64, common_rate * exposure);
    let at_least = if events == 0 {
        1.0
    } else {
        gamma_lower_tail(count, expected)
    };
    let at_most = gamma_upper_tail(count + 1.0, expected);
    let p = (2.0 * at_least.min(at_most)).min(1.0);
    Ok(FunnelPoint {
        rate: count / exposure,
        limits,
        p,
    })
}

/// The least count r with `P(X <= r) >= p`, less the share of its own chance not needed.
fn interpolated_count(p: f64, expected: f64) -> f64 {
    let at_most = |count: f64| {
        if count < 0.0 {
            0.0
        } else {
            gamma_upper_tail(count + 1.0, expected)
        }
    };
    // The gamma quantile with the roles turned round starts within a few counts of r.
    let mut count = gamma_quantile(p, expected.max(1e-3)).floor().max(0.0);
    let mut stride = 1.0;
    while at_most(count) < p {
        count += stride;
        stride *= 2.0;
    }
    let mut below = -1.0;
    while count - below > 1.0 {
        let middle = (0.5 * (below + count)).floor();
        if at_most(middle) >= p {
            count = middle
        } else {
            below = middle
        }
        if below == count - 1.0 || count + 1.0 == count {
            break;
        }
    }
    let own = (count * expected.ln() - expected - ln_gamma(count + 1.0)).exp();
    if own > 0.0 {
        count - ((at_most(count) - p) / own).clamp(0.0, 1.0)
    } else {
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_close_in_with_exposure() {
        let widths: Vec<f64> = [1.0, 10.0, 100.0, 1e4, 1e6]
            .iter()
            .map(|&exposure| funnel_limits(2.0, exposure, 0.95).unwrap())
            .map(|limits| limits.upper - limits.lower)
            .collect();
        assert!(
            widths.windows(2).all(|pair| pair[1] < pair[0]),
            "{widths:?}"
        );
        let wide = funnel_limits(2.0, 1e6, 0.95).unwrap();
        assert!((wide.upper - 2.0 - 1.959964 * (2.0 / 1e6_f64).sqrt()).abs() < 1e-5);
    }
}
