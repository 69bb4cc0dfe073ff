//! Weibull life by maximum likelihood.
//!
//! Fails without failures (unless a prior stands in) and where the likelihood has no maximum, as
//! when all failures share the greatest age. Limits are left to `weibull_limits` and, by profile
//! likelihood, to `weibull_profile`.

use super::life::{IntervalLife, Life};
use super::weibull_law::Weibull;
use super::weibull_likelihood::{Derivatives, WeibullPrior, WeibullSample};
use crate::input::FitError;

const WHAT: &str = "Weibull fit";
const MOST_ITERATIONS: usize = 200;
/// Largest |ln sigma| taken for a maximum: shapes between 1/22000 and 22000.
const MOST_LN_SIGMA: f64 = 10.0;
/// Convergence is quadratic: a step this small leaves an error of about its square.
const SMALL_STEP: f64 = 1e-7;
/// Above twice this many lives the fit starts from that of a thinned sample of about this size.
const THINNED_LIVES: usize = 30_000;

/// A fitted Weibull life. The covariance is that of `(ln scale, ln sigma)` with
/// `sigma = 1 / shape`, the inverse of the observed information (prior included).
#[derive(Debug, Clone, PartialEq)]
pub struct WeibullFit {
    pub law: Weibull,
    pub ln_scale_variance: f64,
    pub ln_sigma_variance: f64,
    pub covariance: f64,
    /// Log-likelihood at the estimate, without the prior.
    pub log_likelihood: f64,
    pub lives: usize,
    pub failures: usize,
    pub iterations: usize,
    pub prior: WeibullPrior,
}

/// Fits lives that are exact or right-censored, seen from their entry.
pub fn fit_weibull(lives: &[Life]) -> Result<WeibullFit, FitError> {
    fit_weibull_sample(&WeibullSample::from_lives(lives)?, &WeibullPrior::default())
}

/// Fits lives of which some failed between two ages.
pub fn fit_weibull_intervals(lives: &[IntervalLife]) -> Result<WeibullFit, FitError> {
    fit_weibull_sample(
        &WeibullSample::from_interval_lives(lives)?,
        &WeibullPrior::default(),
    )
}

/// Maximises the log-likelihood plus the log prior by Newton's method with step halving
/// (Meeker and Escobar, Statistical Methods for Reliability Data, 1998, chapters 8 and 11).
/// With a fixed shape the covariance of the shape is 0.
pub fn fit_weibull_sample(
    sample: &WeibullSample,
    prior: &WeibullPrior,
) -> Result<WeibullFit, FitError> {
    prior.check()?;
    if sample.failures() == 0 && (prior.ln_scale.is_none() || prior.ln_shape.is_none()) {
        return Err(FitError::NoEvents {
            what: WHAT,
            rows: sample.lives(),
        });
    }
    let crude = start(sample, prior);
    let stride = sample.lives() / THINNED_LIVES;
    let near = (stride > 1).then(|| climb(&sample.thinned(stride), prior, crude));
    let from = near
        .and_then(Result::ok)
        .map_or(crude, |summit| summit.point);
    finish(sample, prior, &climb(sample, prior, from)?)
}

/// Where the likelihood is greatest, as `(mu, s)`.
struct Summit {
    point: (f64, f64),
    derivatives: Derivatives,
    iterations: usize,
}

fn climb(
    sample: &WeibullSample,
    prior: &WeibullPrior,
    from: (f64, f64),
) -> Result<Summit, FitError> {
    let fixed_shape = prior.fixed_shape();
    let mut point = from;
    let mut here = sample.derivatives(point.0, point.1, prior);
    let mut last_step = f64::INFINITY;
    for iterations in 1..=MOST_ITERATIONS {
        let (step_mu, step_s) = newton_step(&here, point.1, fixed_shape.is_some());
        let step_in_sigmas = (step_mu * (-point.1).exp()).abs().max(step_s.abs());
        if step_in_sigmas < SMALL_STEP {
            point = (point.0 + step_mu, point.1 + step_s);
            return Ok(Summit {
                point,
                derivatives: sample.derivatives(point.0, point.1, prior),
                iterations,
            });
        }
        let (mut fraction, floor) = (1.0, here.value - 1e-12 * here.value.abs());
        let (mut next_point, mut next) = (point, here);
        while fraction > 1e-10 {
            next_point = (point.0 + fraction * step_mu, point.1 + fraction * step_s);
            next = sample.derivatives(next_point.0, next_point.1, prior);
            if next.is_finite() && next.value >= floor {
                break;
            }
            fraction *= 0.5;
        }
        last_step = fraction * step_in_sigmas;
        if fraction <= 1e-10 {
            break;
        }
        (point, here) = (next_point, next);
        if point.1.abs() > MOST_LN_SIGMA {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at: (-point.1).exp(),
                remedy: "the failures do not fix a shape: give more data or a prior for it",
            });
        }
    }
    Err(FitError::NotConverged {
        what: WHAT,
        iterations: MOST_ITERATIONS,
        last_step,
    })
}

/// Starts from a constant hazard, or from the prior where there is one.
fn start(sample: &WeibullSample, prior: &WeibullPrior) -> (f64, f64) {
    let s = prior.ln_shape.map_or(0.0, |shape| -shape.mean);
    let mean_life = sample.exposure() / sample.failures().max(1) as f64;
    let mu = match prior.ln_scale {
        Some(scale) if sample.failures() == 0 => scale.mean.max(mean_life.ln()),
        _ => mean_life.max(f64::MIN_POSITIVE).ln(),
    };
    (mu, s)
}

/// The Newton step, with the information lifted to positive definite where it is not, and cut to
/// a length over which the surface can be trusted.
fn newton_step(here: &Derivatives, s: f64, shape_is_fixed: bool) -> (f64, f64) {
    // In units of sigma for mu, so that both parameters are of order 1.
    let sigma = s.exp();
    let (g_mu, g_s) = (here.by_mu * sigma, here.by_s);
    let mut i_mu = -here.by_mu_mu * sigma * sigma;
    if shape_is_fixed {
        let step = if i_mu > 0.0 {
            g_mu / i_mu
        } else {
            g_mu.signum()
        };
        return (step.clamp(-2.0, 2.0) * sigma, 0.0);
    }
    let (i_mixed, mut i_s) = (-here.by_mu_s * sigma, -here.by_s_s);
    let middle = 0.5 * (i_mu + i_s);
    let radius = (0.25 * (i_mu - i_s).powi(2) + i_mixed * i_mixed).sqrt();
    let least = 1e-8 * (middle.abs() + radius);
    if middle - radius < least {
        let lift = 1e-3 * (middle.abs() + radius) - (middle - radius);
        i_mu += lift;
        i_s += lift;
    }
    let determinant = i_mu * i_s - i_mixed * i_mixed;
    let step_mu = (i_s * g_mu - i_mixed * g_s) / determinant;
    let step_s = (i_mu * g_s - i_mixed * g_mu) / determinant;
    let cut = (2.0 / step_mu.abs()).min(1.0 / step_s.abs()).min(1.0);
    (step_mu * cut * sigma, step_s * cut)
}

fn finish(
    sample: &WeibullSample,
    prior: &WeibullPrior,
    summit: &Summit,
) -> Result<WeibullFit, FitError> {
    let ((mu, s), here) = (summit.point, &summit.derivatives);
    let (i_mu, i_mixed, i_s) = (-here.by_mu_mu, -here.by_mu_s, -here.by_s_s);
    let fixed = prior.fixed_shape();
    let determinant = i_mu * i_s - i_mixed * i_mixed;
    if i_mu <= 0.0 || (fixed.is_none() && determinant <= 0.0) {
        return Err(FitError::Singular { what: WHAT });
    }
    let (ln_scale_variance, covariance, ln_sigma_variance) = match fixed {
        Some(_) => (1.0 / i_mu, 0.0, 0.0),
        None => (
            i_s / determinant,
            -i_mixed / determinant,
            i_mu / determinant,
        ),
    };
    let without_prior = if *prior == WeibullPrior::default() {
        here.value
    } else {
        sample.derivatives(mu, s, &WeibullPrior::default()).value
    };
    Ok(WeibullFit {
        law: Weibull {
            shape: (-s).exp(),
            scale: mu.exp(),
        },
        ln_scale_variance,
        ln_sigma_variance,
        covariance,
        log_likelihood: without_prior,
        lives: sample.lives(),
        failures: sample.failures(),
        iterations: summit.iterations,
        prior: *prior,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prior::NormalPrior;

    fn lives() -> Vec<Life> {
        (1..=30)
            .map(|unit| Life {
                entry: f64::from(unit % 5),
                exit: 6.0 + f64::from(unit * 7 % 31),
                event: unit % 3 != 0,
            })
            .collect()
    }

    #[test]
    fn what_fixes_no_shape_is_refused() {
        let none = [Life::censored(0.0, 4.0), Life::censored(0.0, 5.0)];
        assert!(matches!(
            fit_weibull(&none),
            Err(FitError::NoEvents { rows: 2, .. })
        ));
        for tied in [
            vec![Life::failed(0.0, 4.0)],
            vec![Life::failed(0.0, 4.0); 5],
        ] {
            assert!(
                matches!(fit_weibull(&tied), Err(FitError::NoMaximum { .. })),
                "{tied:?}"
            );
        }
    }

    #[test]
    fn a_prior_stands_in_for_failures() {
        let prior = WeibullPrior {
            ln_shape: Some(NormalPrior { mean: 0.7, sd: 0.3 }),
            ln_scale: Some(NormalPrior { mean: 6.0, sd: 1.0 }),
        };
        let sample = WeibullSample::from_lives(&[Life::censored(0.0, 100.0)]).unwrap();
        let fit = fit_weibull_sample(&sample, &prior).unwrap();
        assert!(
            fit.law.scale > f64::exp(6.0) && fit.law.scale < f64::exp(6.2),
            "{fit:?}"
        );
        assert!(fit.ln_scale_variance < 1.0 + 1e-9);
    }

    /// Every life many times over: the estimate stays, and the long list's start from a thinned one
    /// does not show.
    #[test]
    fn a_long_list_fits_as_a_short_one() {
        let long: Vec<Life> = lives().into_iter().cycle().take(30 * 4_000).collect();
        let mut by_age = long.clone();
        by_age.sort_by(|left, right| left.exit.total_cmp(&right.exit));
        let short = fit_weibull(&lives()).unwrap();
        for list in [long, by_age] {
            let fit = fit_weibull(&list).unwrap();
            assert!(
                (fit.law.shape / short.law.shape - 1.0).abs() < 1e-9,
                "{fit:?}"
            );
            assert!(
                (fit.law.scale / short.law.scale - 1.0).abs() < 1e-9,
                "{fit:?}"
            );
            let variance = short.ln_sigma_variance / 4_000.0;
            assert!((fit.ln_sigma_variance / variance - 1.0).abs() < 1e-6);
        }
    }

    /// For a known shape the scale has a closed form: `(sum (exit^b - entry^b) / d)^(1/b)`.
    #[test]
    fn a_fixed_shape_gives_the_closed_form_scale() {
        let sample = WeibullSample::from_lives(&lives()).unwrap();
        let ln_shape = Some(NormalPrior {
            mean: 2.0_f64.ln(),
            sd: 0.0,
        });
        let fit = fit_weibull_sample(
            &sample,
            &WeibullPrior {
                ln_shape,
                ln_scale: None,
            },
        )
        .unwrap();
        let total: f64 = lives()
            .iter()
            .map(|l| l.exit.powi(2) - l.entry.powi(2))
            .sum();
        assert!((fit.law.scale / (total / 20.0).sqrt() - 1.0).abs() < 1e-10);
        assert!((fit.law.shape - 2.0).abs() < 1e-12 && fit.shape_se() == 0.0);
    }

    #[test]
    fn a_change_of_unit_changes_the_scale_alone() {
        let days: Vec<Life> = lives()
            .iter()
            .map(|l| Life {
                entry: l.entry * 1e9,
                exit: l.exit * 1e9,
                event: l.event,
            })
            .collect();
        let (small, large) = (fit_weibull(&lives()).unwrap(), fit_weibull(&days).unwrap());
        assert!((small.law.shape / large.law.shape - 1.0).abs() < 1e-10);
        assert!((small.law.scale * 1e9 / large.law.scale - 1.0).abs() < 1e-10);
    }
}
