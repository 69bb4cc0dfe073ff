//! Weibull life by maximum likelihood, with the limits that follow from its covariance.
//!
//! Fails without failures (unless a prior stands in) and where the likelihood has no maximum, as
//! when all failures share the greatest age. Profile-likelihood limits and the test of a constant
//! hazard are left to `weibull_profile`.

use super::input::{FitError, InputError, not_negative, open_unit, positive};
use super::limits::{Limits, two_sided_z};
use super::lives::{IntervalLife, Life};
pub use super::weibull_law::Weibull;
use super::weibull_likelihood::{Derivatives, WeibullPrior, WeibullSample};

const WHAT: &str = "Weibull fit";
const MOST_ITERATIONS: usize = 200;
/// Largest |ln sigma| taken for a maximum: shapes between 1/22000 and 22000.
const MOST_LN_SIGMA: f64 = 10.0;
const SMALL_STEP: f64 = 1e-8;

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
    let fixed_shape = prior.fixed_shape();
    let mut point = start(sample, prior);
    let mut here = sample.derivatives(point.0, point.1, prior);
    let mut last_step = f64::INFINITY;
    for iteration in 1..=MOST_ITERATIONS {
        let (step_mu, step_s) = newton_step(&here, point.1, fixed_shape.is_some());
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
        if fraction <= 1e-10 {
            break;
        }
        (point, here) = (next_point, next);
        last_step = (fraction * step_mu * (-point.1).exp())
            .abs()
            .max((fraction * step_s).abs());
        if point.1.abs() > MOST_LN_SIGMA {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at: (-point.1).exp(),
                remedy: "the failures do not fix a shape: give more data or a prior for it",
            });
        }
        if last_step < SMALL_STEP {
            return finish(sample, prior, point, &here, iteration);
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
    (mu, s): (f64, f64),
    here: &Derivatives,
    iterations: usize,
) -> Result<WeibullFit, FitError> {
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
        iterations,
        prior: *prior,
    })
}

impl WeibullFit {
    /// Variance of `by_mu * ln scale + by_s * ln sigma`.
    fn variance_of(&self, by_mu: f64, by_s: f64) -> f64 {
        let variance = by_mu * by_mu * self.ln_scale_variance
            + 2.0 * by_mu * by_s * self.covariance
            + by_s * by_s * self.ln_sigma_variance;
        variance.max(0.0)
    }

    pub fn shape_se(&self) -> f64 {
        self.law.shape * self.ln_sigma_variance.sqrt()
    }

    pub fn scale_se(&self) -> f64 {
        self.law.scale * self.ln_scale_variance.sqrt()
    }

    /// Limits of the shape, normal in its logarithm.
    pub fn shape_limits(&self, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        Ok(Limits::log_normal(
            self.law.shape,
            z,
            self.ln_sigma_variance.sqrt(),
        ))
    }

    /// Limits of the scale, normal in its logarithm.
    pub fn scale_limits(&self, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        Ok(Limits::log_normal(
            self.law.scale,
            z,
            self.ln_scale_variance.sqrt(),
        ))
    }

    /// Standard error of the logarithm of a B-life: `ln B = mu + k sigma`, `k = ln(-ln(1-p))`.
    pub fn ln_b_life_se(&self, fraction: f64) -> Result<f64, InputError> {
        open_unit("fraction failed", fraction)?;
        let k = (-(-fraction).ln_1p()).ln();
        Ok(self.variance_of(1.0, k / self.law.shape).sqrt())
    }

    /// Delta-method limits of a B-life, normal in its logarithm.
    pub fn b_life_limits(&self, fraction: f64, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        let se = self.ln_b_life_se(fraction)?;
        Ok(Limits::log_normal(self.law.b_life(fraction), z, se))
    }

    /// Delta-method limits of survival to `age`, normal in `z = (ln age - mu) / sigma`.
    pub fn survival_limits(&self, age: f64, confidence: f64) -> Result<Limits, InputError> {
        positive("age", age)?;
        let failed = self.failure_chance_limits(0.0, age, confidence)?;
        Ok(Limits {
            lower: 1.0 - failed.upper,
            upper: 1.0 - failed.lower,
        })
    }

    /// Delta-method limits of the chance that a life of `age` fails within `horizon`, normal in
    /// the logarithm of the hazard gathered over the horizon (the complementary log-log scale).
    pub fn failure_chance_limits(
        &self,
        age: f64,
        horizon: f64,
        confidence: f64,
    ) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        not_negative("age", age)?;
        positive("horizon", horizon)?;
        let part = |age: f64| {
            let hazard = self.law.cumulative_hazard(age);
            (
                hazard,
                if hazard > 0.0 {
                    hazard * hazard.ln()
                } else {
                    0.0
                },
            )
        };
        let ((early, early_slope), (late, late_slope)) = (part(age), part(age + horizon));
        let gap = late - early;
        if gap.is_nan() || gap <= 0.0 || gap.is_infinite() {
            let chance = self.law.failure_chance(age, horizon);
            let chance = if chance.is_nan() { 1.0 } else { chance };
            return Ok(Limits {
                lower: chance,
                upper: chance,
            });
        }
        let by_s = -(late_slope - early_slope) / gap;
        let se = self.variance_of(-self.law.shape, by_s).sqrt();
        Ok(Limits::log_normal(gap, z, se).map(|gathered| -(-gathered).exp_m1()))
    }
}

#[cfg(test)]
mod tests {
    use super::super::weibull_likelihood::NormalPrior;
    use super::*;

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

    #[test]
    fn chances_stay_between_zero_and_one() {
        let fit = fit_weibull(&lives()).unwrap();
        for (age, horizon) in [
            (0.0, 1e-300),
            (0.0, 1.0),
            (10.0, 5.0),
            (1e6, 1e6),
            (1e300, 1e300),
        ] {
            let limits = fit.failure_chance_limits(age, horizon, 0.95).unwrap();
            let chance = fit.law.failure_chance(age, horizon);
            assert!(
                limits.lower >= 0.0 && limits.upper <= 1.0,
                "{age} {horizon} {limits:?}"
            );
            assert!(
                chance.is_nan() || limits.contains(chance),
                "{chance} {limits:?}"
            );
        }
    }
}
