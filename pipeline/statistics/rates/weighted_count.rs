//! Limits of a weighted sum of events.
//!
//! Fails for weights that are not above 0. Where the weights come from is left to who weighs.

use crate::distributions::gamma_quantile;
use crate::input::{InputError, all_within, open_unit, positive};
use crate::limits::Limits;

/// Limits for the mean of a sum of independent Poisson counts, each with its weight, of which these
/// events came (the gamma limits of Fay and Feuer, Statistics in Medicine 16:791, 1997). `largest` is the
/// greatest weight an event could have had: the upper limit allows for one more of it. With all
/// weights 1 they are Garwood's; the lower limit without an event is 0.
pub fn weighted_count_limits(
    weights: &[f64],
    largest: f64,
    confidence: f64,
) -> Result<Limits, InputError> {
    open_unit("confidence", confidence)?;
    positive("largest weight", largest)?;
    all_within("weight", weights, "above 0", |weight| weight > 0.0)?;
    let tail = (1.0 - confidence) / 2.0;
    let sum: f64 = weights.iter().sum();
    let variance: f64 = weights.iter().map(|weight| weight * weight).sum();
    let quantile = |p: f64, mean: f64, variance: f64| {
        variance / mean * gamma_quantile(p, mean * mean / variance)
    };
    let lower = match weights.is_empty() {
        true => 0.0,
        false => quantile(tail, sum, variance),
    };
    let upper = quantile(1.0 - tail, sum + largest, variance + largest * largest);
    Ok(Limits { lower, upper })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rates::poisson_rate::garwood_limits;

    #[test]
    fn events_that_all_count_once_have_garwoods_limits() {
        for events in [0, 1, 7, 40] {
            let weighted = weighted_count_limits(&vec![1.0; events], 1.0, 0.95).unwrap();
            let exact = garwood_limits(events as u64, 0.95).unwrap();
            assert!((weighted.lower - exact.lower).abs() < 1e-9, "{events}");
            assert!((weighted.upper - exact.upper).abs() < 1e-9, "{events}");
        }
    }

    /// One event of weight 3 and two of weight 1: sum 5, variance 11. By scipy 1.17,
    /// `11/5 * gamma.ppf(0.025, 25/11)` and, with one more of weight 3, `20/8 * gamma.ppf(0.975, 64/20)`.
    #[test]
    fn a_heavy_event_widens_both_limits() {
        let limits = weighted_count_limits(&[3.0, 1.0, 1.0], 3.0, 0.95).unwrap();
        assert!(
            (limits.lower - 0.731_777_611_661_156_7).abs() < 1e-6,
            "{limits:?}"
        );
        assert!(
            (limits.upper - 18.850_465_587_682_03).abs() < 1e-6,
            "{limits:?}"
        );
    }

    #[test]
    fn weights_of_nothing_are_refused() {
        assert!(weighted_count_limits(&[1.0, 0.0], 1.0, 0.95).is_err());
        assert!(weighted_count_limits(&[], 0.0, 0.95).is_err());
    }
}
