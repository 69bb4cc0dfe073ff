//! Profile-likelihood limits for a Weibull fit, and the likelihood-ratio test of a constant hazard.
//!
//! Fails as the fit does. Slower than the delta-method limits of `weibull` by some tens of passes
//! over the lives, and truer where failures are few. The fit itself is left to `weibull`.

use super::weibull::WeibullFit;
use super::weibull_likelihood::{WeibullPrior, WeibullSample};
use crate::distributions::{chi_square_quantile, chi_square_upper_tail};
use crate::input::{FitError, InputError, open_unit};
use crate::limits::Limits;

/// How far a limit is sought, in widths of the normal-theory limit.
const MOST_WIDTHS: f64 = 60.0;
const RELATIVE_ACCURACY: f64 = 1e-10;
/// A limit further than a factor of 10^20 from the estimate says nothing: that end is left open.
const FARTHEST: f64 = 46.05;

/// A likelihood-ratio test with one degree of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LikelihoodRatio {
    /// Twice the gain in log-likelihood.
    pub statistic: f64,
    pub p: f64,
}

/// A curve through the parameter plane at one value of the parameter of interest.
#[derive(Debug, Clone, Copy)]
enum Slice {
    /// `mu + k sigma` is held; k = 0 holds the scale itself.
    LnBLife { k: f64 },
    /// `ln sigma` is held.
    LnSigma,
}

/// The height of the profile at a value, its slope there, and where the other parameter lies.
struct ProfilePoint {
    height: f64,
    slope: f64,
    other: f64,
}

/// Limits of a B-life (Meeker and Escobar 1998, section 8.3): the values at which the maximum over
/// the other parameter falls by half a chi-square quantile. An end that the data leave open is 0
/// or infinite.
pub fn profile_b_life_limits(
    sample: &WeibullSample,
    fit: &WeibullFit,
    fraction: f64,
    confidence: f64,
) -> Result<Limits, InputError> {
    let se = fit.ln_b_life_se(fraction)?;
    let slice = Slice::LnBLife {
        k: (-(-fraction).ln_1p()).ln(),
    };
    let limits = profile_limits(
        sample,
        fit,
        slice,
        fit.law.b_life(fraction).ln(),
        se,
        confidence,
    )?;
    Ok(limits.map(f64::exp))
}

/// Limits of the scale.
pub fn profile_scale_limits(
    sample: &WeibullSample,
    fit: &WeibullFit,
    confidence: f64,
) -> Result<Limits, InputError> {
    let (centre, se) = (fit.law.scale.ln(), fit.ln_scale_variance.sqrt());
    let limits = profile_limits(
        sample,
        fit,
        Slice::LnBLife { k: 0.0 },
        centre,
        se,
        confidence,
    )?;
    Ok(limits.map(f64::exp))
}

/// Limits of the shape; equal to the shape itself when the prior fixes it.
pub fn profile_shape_limits(
    sample: &WeibullSample,
    fit: &WeibullFit,
    confidence: f64,
) -> Result<Limits, InputError> {
    let (shape, se) = (fit.law.shape, fit.ln_sigma_variance.sqrt());
    if fit.prior.fixed_shape().is_some() {
        return Ok(Limits {
            lower: shape,
            upper: shape,
        });
    }
    let ln_sigma = profile_limits(sample, fit, Slice::LnSigma, -shape.ln(), se, confidence)?;
    Ok(Limits {
        lower: (-ln_sigma.upper).exp(),
        upper: (-ln_sigma.lower).exp(),
    })
}

/// Tests shape = 1, a hazard that does not change with age. The prior of the fit is left out.
pub fn constant_hazard_test(
    sample: &WeibullSample,
    fit: &WeibullFit,
) -> Result<LikelihoodRatio, FitError> {
    if sample.failures() == 0 {
        return Err(FitError::NoEvents {
            what: "constant-hazard test",
            rows: sample.lives(),
        });
    }
    let prior = WeibullPrior::default();
    let fit = match fit.prior == prior {
        true => fit.clone(),
        false => super::weibull::fit_weibull_sample(sample, &prior)?,
    };
    let start = (sample.exposure() / sample.failures() as f64).ln();
    let constant = highest(sample, &prior, Slice::LnSigma, 0.0, start);
    let statistic = (2.0 * (fit.log_likelihood - constant.height)).max(0.0);
    Ok(LikelihoodRatio {
        statistic,
        p: chi_square_upper_tail(statistic, 1.0),
    })
}

fn profile_limits(
    sample: &WeibullSample,
    fit: &WeibullFit,
    slice: Slice,
    centre: f64,
    se: f64,
    confidence: f64,
) -> Result<Limits, InputError> {
    open_unit("confidence", confidence)?;
    let drop = 0.5 * chi_square_quantile(confidence, 1.0);
    let width = (2.0 * drop).sqrt() * se;
    let other = match slice {
        Slice::LnBLife { .. } => -fit.law.shape.ln(),
        Slice::LnSigma => fit.law.scale.ln(),
    };
    let level = highest(sample, &fit.prior, slice, centre, other).height - drop;
    let end = |side: f64| {
        let found = find_level(
            sample,
            &fit.prior,
            slice,
            centre,
            other,
            side * width,
            level,
        );
        match (found - centre).abs() <= FARTHEST {
            true => found,
            false => f64::INFINITY.copysign(side),
        }
    };
    Ok(Limits {
        lower: end(-1.0),
        upper: end(1.0),
    })
}

/// The value on one side of `centre` at which the profile has fallen to `level`: Newton steps on
/// the profile, whose slope is the partial derivative, inside a bracket that first grows outward.
fn find_level(
    sample: &WeibullSample,
    prior: &WeibullPrior,
    slice: Slice,
    centre: f64,
    mut other: f64,
    width: f64,
    level: f64,
) -> f64 {
    let (mut inside, mut outside) = (centre, None);
    // Whether the profile was seen below the level, not only past what can be computed.
    let mut crossed = false;
    let mut value = centre + width;
    for _ in 0..200 {
        let point = highest(sample, prior, slice, value, other);
        let excess = point.height - level;
        if excess > 0.0 && excess.is_finite() {
            inside = value;
            other = point.other;
        } else {
            outside = Some(value);
            crossed |= excess.is_finite();
        }
        if excess.abs() < 1e-12 {
            return value;
        }
        let newton = value - excess / point.slope;
        value = match outside {
            Some(outside) => {
                let (low, high) = (f64::min(inside, outside), f64::max(inside, outside));
                if high - low <= RELATIVE_ACCURACY * width.abs() {
                    return match crossed {
                        true => 0.5 * (low + high),
                        false => f64::INFINITY.copysign(width),
                    };
                }
                if newton > low && newton < high {
                    newton
                } else {
                    0.5 * (low + high)
                }
            }
            None if ((inside - centre) / width) > MOST_WIDTHS => {
                return f64::INFINITY.copysign(width);
            }
            None => {
                let least = inside + 0.5 * width;
                let most = centre + 2.5 * (inside - centre);
                let (low, high) = (f64::min(least, most), f64::max(least, most));
                if newton.is_finite() {
                    newton.clamp(low, high)
                } else {
                    most
                }
            }
        };
    }
    value
}

/// The maximum over the other parameter at one value: Newton's method with step halving along the
/// slice, by the chain rule on the plane's derivatives.
fn highest(
    sample: &WeibullSample,
    prior: &WeibullPrior,
    slice: Slice,
    value: f64,
    start: f64,
) -> ProfilePoint {
    let fixed_s = prior.fixed_shape().map(|shape| -shape.ln());
    // Height, slope along the slice, curvature along it, slope across it, unit of the step.
    let at = |other: f64| match slice {
        Slice::LnBLife { k } => {
            let sigma = other.exp();
            let here = sample.derivatives(value - k * sigma, other, prior);
            let lean = -k * sigma;
            let slope = here.by_mu * lean + here.by_s;
            let curve = here.by_mu_mu * lean * lean
                + 2.0 * here.by_mu_s * lean
                + here.by_s_s
                + here.by_mu * lean;
            (here.value, slope, curve, here.by_mu, 1.0)
        }
        Slice::LnSigma => {
            let here = sample.derivatives(other, value, prior);
            (
                here.value,
                here.by_mu,
                here.by_mu_mu,
                here.by_s,
                value.exp(),
            )
        }
    };
    let mut other = match slice {
        Slice::LnBLife { .. } => fixed_s.unwrap_or(start),
        Slice::LnSigma => start,
    };
    let (mut height, mut slope, mut curve, mut across, mut unit) = at(other);
    let held = matches!(slice, Slice::LnBLife { .. }) && fixed_s.is_some();
    for _ in 0..100 {
        if held || !height.is_finite() {
            break;
        }
        let newton = if curve < 0.0 {
            -slope / curve
        } else {
            unit * slope.signum()
        };
        let step = newton.clamp(-unit, unit);
        let mut fraction = 1.0;
        let mut next = at(other + step);
        let floor = height - 1e-12 * height.abs();
        while (next.0.is_nan() || next.0 < floor) && fraction > 1e-8 {
            fraction *= 0.5;
            next = at(other + fraction * step);
        }
        if fraction <= 1e-8 {
            break;
        }
        other += fraction * step;
        (height, slope, curve, across, unit) = next;
        if (fraction * step).abs() < 1e-8 * unit {
            break;
        }
    }
    ProfilePoint {
        height,
        slope: across,
        other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lives::life::Life;
    use crate::lives::weibull::fit_weibull_sample;

    /// One failure among three lives bounds the B-life from above only far out.
    #[test]
    fn an_end_the_data_leave_open_is_infinite() {
        let lives = [
            Life::failed(0.0, 4.0),
            Life::censored(0.0, 5.0),
            Life::censored(0.0, 5.0),
        ];
        let sample = WeibullSample::from_lives(&lives).unwrap();
        let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).unwrap();
        let at = |confidence| profile_b_life_limits(&sample, &fit, 0.5, confidence).unwrap();
        let (usual, strict) = (at(0.95), at(0.999_999_9));
        assert!(
            usual.lower > 3.0 && usual.lower < fit.law.b_life(0.5),
            "{usual:?}"
        );
        assert!(
            usual.upper.is_finite() && strict.upper == f64::INFINITY,
            "{usual:?} {strict:?}"
        );
    }
}
