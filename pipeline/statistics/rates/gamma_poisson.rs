//! Counts whose rates differ from unit to unit by a gamma law: fitting it, and pulling each unit's
//! rate towards the rest so that a unit with little exposure does not top a table.
//!
//! Fails for counts that do not match their exposures, exposures not above 0, and no units. Counts
//! with no spread beyond Poisson give an infinite size and every unit the common rate.

use crate::distributions::{digamma_rise, gamma_quantile, ln_gamma};
use crate::input::{InputError, all_within, at_least, open_unit, same_length};
use crate::limits::Limits;

/// Sizes above this cannot be told from Poisson.
const MOST_SIZE: f64 = 1e7;
const LEAST_SIZE: f64 = 1e-4;
/// Points of the first search over ln size.
const GRID: usize = 48;

/// A gamma law of rates: mean rate, and size = 1 / squared coefficient of variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GammaPoisson {
    pub mean: f64,
    /// Infinite when the counts spread no wider than Poisson.
    pub size: f64,
    pub log_likelihood: f64,
}

/// A unit's rate, raw and shrunk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShrunkRate {
    pub raw: f64,
    pub shrunk: f64,
    /// Equal-tailed limits of the posterior, given the fitted law.
    pub limits: Limits,
    /// Share of the shrunk rate that comes from the unit's own count, 0 to 1.
    pub own_weight: f64,
}

/// Fits mean and size by maximum likelihood of the negative binomial marginal (Lawless, Canadian
/// J. Statist. 15:209, 1987): for each size the mean by Newton's method, the size as the root of the
/// likelihood's slope.
pub fn fit_gamma_poisson(counts: &[u64], exposures: &[f64]) -> Result<GammaPoisson, InputError> {
    same_length("counts", counts.len(), "exposures", exposures.len())?;
    at_least("units", counts.len(), 1)?;
    all_within("exposure", exposures, "above 0", |exposure| exposure > 0.0)?;
    let counts: Vec<f64> = counts.iter().map(|&count| count as f64).collect();
    let total: f64 = counts.iter().sum();
    let pooled = total / exposures.iter().sum::<f64>();
    let poisson = GammaPoisson {
        mean: pooled,
        size: f64::INFINITY,
        log_likelihood: poisson_log_likelihood(&counts, exposures, pooled),
    };
    if total == 0.0 || counts.len() == 1 {
        return Ok(poisson);
    }
    // At the best mean of a size the whole slope is the partial one.
    let slope = |size: f64| slope_in_size(&counts, exposures, pooled, size);
    let size = best_size(slope, |size| match size.is_infinite() {
        true => poisson.log_likelihood,
        false => log_likelihood(&counts, exposures, pooled, size),
    });
    if size.is_infinite() {
        return Ok(poisson);
    }
    Ok(GammaPoisson {
        mean: best_mean(&counts, exposures, pooled, size),
        size,
        log_likelihood: log_likelihood(&counts, exposures, pooled, size),
    })
}

/// The size of the greatest likelihood: among the roots at which its slope turns from rising to
/// falling, found between the points of a grid and closed in on by halving, and the open end, where it
/// is Poisson. A size below the least is taken for it.
pub(super) fn best_size(slope: impl Fn(f64) -> f64, height: impl Fn(f64) -> f64) -> f64 {
    let (low, high) = (LEAST_SIZE.ln(), MOST_SIZE.ln());
    let width = (high - low) / (GRID - 1) as f64;
    let grid: Vec<(f64, bool)> = (0..GRID)
        .map(|point| low + width * point as f64)
        .map(|ln_size| (ln_size, slope(ln_size.exp()) > 0.0))
        .collect();
    let mut sizes = Vec::new();
    if !grid[0].1 {
        sizes.push(LEAST_SIZE);
    }
    for pair in grid.windows(2) {
        if !pair[0].1 || pair[1].1 {
            continue;
        }
        let (mut rising, mut falling) = (pair[0].0, pair[1].0);
        while falling - rising > 1e-15 * (1.0 + rising.abs()) {
            let middle = 0.5 * (rising + falling);
            if middle <= rising || middle >= falling {
                break;
            }
            if slope(middle.exp()) > 0.0 {
                rising = middle;
            } else {
                falling = middle;
            }
        }
        sizes.push((0.5 * (rising + falling)).exp());
    }
    if grid[GRID - 1].1 {
        sizes.push(f64::INFINITY);
    }
    match sizes[..] {
        [] => f64::INFINITY,
        [only] => only,
        _ => {
            let heights = sizes.iter().map(|size| (*size, height(*size)));
            let best = heights.reduce(|best, next| if next.1 > best.1 { next } else { best });
            best.map_or(f64::INFINITY, |best| best.0)
        }
    }
}

fn slope_in_size(counts: &[f64], exposures: &[f64], start: f64, size: f64) -> f64 {
    let mean = best_mean(counts, exposures, start, size);
    let terms = counts.iter().zip(exposures).map(|(&count, exposure)| {
        let expected = mean * exposure;
        let rises = digamma_rise(size, count) - (expected / size).ln_1p();
        rises + (expected - count) / (size + expected)
    });
    terms.sum()
}

/// For one size, the best mean rate. The score in ln mean is
/// `sum size (count - mean exposure) / (size + mean exposure)`, which falls in the mean.
fn best_mean(counts: &[f64], exposures: &[f64], start: f64, size: f64) -> f64 {
    let mut ln_mean = start.ln();
    for _ in 0..100 {
        let mean = ln_mean.exp();
        let (mut score, mut information) = (0.0, 0.0);
        for (count, exposure) in counts.iter().zip(exposures) {
            let expected = mean * exposure;
            let whole = size + expected;
            score += size * (count - expected) / whole;
            information += size * expected * (size + count) / (whole * whole);
        }
        let step = (score / information).clamp(-2.0, 2.0);
        ln_mean += step;
        if step.abs() < 1e-14 {
            break;
        }
    }
    ln_mean.exp()
}

/// At the best mean rate of that size.
fn log_likelihood(counts: &[f64], exposures: &[f64], start: f64, size: f64) -> f64 {
    let mean = best_mean(counts, exposures, start, size);
    let terms = counts.iter().zip(exposures).map(|(&count, exposure)| {
        let expected = mean * exposure;
        ln_rising(size, count) - ln_gamma(count + 1.0) - size * (expected / size).ln_1p()
            + count * (expected.ln() - (size + expected).ln())
    });
    terms.sum()
}

/// `ln Gamma(size + count) - ln Gamma(size)` without the loss of digits at great sizes.
pub(super) fn ln_rising(size: f64, count: f64) -> f64 {
    if count <= 30.0 {
        (0..count as u32).map(|k| (size + f64::from(k)).ln()).sum()
    } else {
        ln_gamma(size + count) - ln_gamma(size)
    }
}

fn poisson_log_likelihood(counts: &[f64], exposures: &[f64], rate: f64) -> f64 {
    let term = |(&count, exposure): (&f64, &f64)| {
        let expected = rate * exposure;
        let logarithm = if count > 0.0 {
            count * expected.ln()
        } else {
            0.0
        };
        logarithm - expected - ln_gamma(count + 1.0)
    };
    counts.iter().zip(exposures).map(term).sum()
}

/// Empirical-Bayes rates (Clayton and Kaldor, Biometrics 43:671, 1987): the posterior mean
/// `(count + size) / (exposure + size / mean)` with gamma limits. The limits take the fitted law
/// as known. Without spread every unit has the common rate, and limits that close on it.
pub fn shrink_rates(
    counts: &[u64],
    exposures: &[f64],
    law: &GammaPoisson,
    confidence: f64,
) -> Result<Vec<ShrunkRate>, InputError> {
    same_length("counts", counts.len(), "exposures", exposures.len())?;
    all_within("exposure", exposures, "above 0", |exposure| exposure > 0.0)?;
    open_unit("confidence", confidence)?;
    let tail = (1.0 - confidence) / 2.0;
    let shrink = |(&count, &exposure): (&u64, &f64)| {
        let count = count as f64;
        let raw = count / exposure;
        if law.size.is_infinite() || law.mean == 0.0 {
            let limits = Limits {
                lower: law.mean,
                upper: law.mean,
            };
            return ShrunkRate {
                raw,
                shrunk: law.mean,
                limits,
                own_weight: 0.0,
            };
        }
        let (shape, rate) = (count + law.size, exposure + law.size / law.mean);
        let limits = Limits {
            lower: gamma_quantile(tail, shape) / rate,
            upper: gamma_quantile(1.0 - tail, shape) / rate,
        };
        ShrunkRate {
            raw,
            shrunk: shape / rate,
            limits,
            own_weight: exposure / rate,
        }
    };
    Ok(counts.iter().zip(exposures).map(shrink).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_unit_does_not_top_the_table() {
        let counts = [2, 40, 10, 60, 5, 22, 90, 11];
        let exposures = [3.0, 400.0, 300.0, 420.0, 250.0, 300.0, 410.0, 280.0];
        let law = fit_gamma_poisson(&counts, &exposures).unwrap();
        let rates = shrink_rates(&counts, &exposures, &law, 0.95).unwrap();
        let top = |key: &dyn Fn(&ShrunkRate) -> f64| {
            (0..8)
                .max_by(|&a, &b| key(&rates[a]).total_cmp(&key(&rates[b])))
                .unwrap()
        };
        assert_eq!((top(&|rate| rate.raw), top(&|rate| rate.shrunk)), (0, 6));
        assert!(rates.iter().all(|rate| rate.limits.contains(rate.shrunk)));
    }

    #[test]
    fn no_spread_gives_the_common_rate() {
        let law = fit_gamma_poisson(&[5, 5, 5], &[1.0, 1.0, 1.0]).unwrap();
        assert_eq!((law.mean, law.size), (5.0, f64::INFINITY));
        let none = fit_gamma_poisson(&[0, 0], &[1.0, 2.0]).unwrap();
        assert!(none.mean == 0.0 && none.log_likelihood.abs() < 1e-14);
        assert_eq!(
            shrink_rates(&[0], &[1.0], &none, 0.95).unwrap()[0].shrunk,
            0.0
        );
        assert!(fit_gamma_poisson(&[1], &[0.0]).is_err());
    }
}
