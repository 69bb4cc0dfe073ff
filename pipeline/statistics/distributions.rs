//! The few distribution functions the estimators share, over `statrs`.
//!
//! Arguments are checked by the callers; outside their domain these functions saturate at the
//! nearest meaningful value and do not panic. Fitting distributions is left to other files.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
pub use statrs::function::gamma::ln_gamma;

use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur};

/// Above this shape a gamma variate is taken as Wilson and Hilferty's cube of a normal one: the
/// relative error is then below 1e-9, and series that need a term per unit of shape end.
const LARGE_SHAPE: f64 = 1e9;

/// Standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Standard normal quantile, `p` in (0, 1).
pub fn normal_quantile(p: f64) -> f64 {
    let normal = Normal::standard();
    if p <= 0.5 {
        normal.inverse_cdf(p.max(f64::MIN_POSITIVE))
    } else {
        -normal.inverse_cdf(1.0 - p)
    }
}

/// Chance that a standard normal deviate is at least `z` away from 0, on either side.
pub fn normal_two_sided_p(z: f64) -> f64 {
    (2.0 * Normal::standard().cdf(-z.abs())).min(1.0)
}

/// Student's t quantile, `p` in (0, 1).
pub fn student_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, degrees_of_freedom) {
        Ok(student) => student.inverse_cdf(p),
        Err(_) => normal_quantile(p),
    }
}

/// Chance that a chi-square variate is at least `x`.
pub fn chi_square_upper_tail(x: f64, degrees_of_freedom: f64) -> f64 {
    gamma_upper_tail(degrees_of_freedom / 2.0, x / 2.0)
}

/// Chi-square quantile, `p` in (0, 1).
pub fn chi_square_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    2.0 * gamma_quantile(p, degrees_of_freedom / 2.0)
}

/// Chance that a gamma variate of unit scale is at most `x` (regularised lower incomplete gamma).
pub fn gamma_lower_tail(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else {
        checked_gamma_lr(shape, x).unwrap_or(1.0)
    }
}

/// Chance that a gamma variate of unit scale is at least `x`.
pub fn gamma_upper_tail(shape: f64, x: f64) -> f64 {
    if x <= 0.0 {
        1.0
    } else {
        checked_gamma_ur(shape, x).unwrap_or(0.0)
    }
}

/// Gamma quantile for unit scale, `p` in (0, 1), `shape` above 0: Newton steps on the logarithm of
/// the variate, kept inside a bracket, from the Wilson-Hilferty approximation.
pub fn gamma_quantile(p: f64, shape: f64) -> f64 {
    let deviate = normal_quantile(p);
    let cube = 1.0 - 1.0 / (9.0 * shape) + deviate / (3.0 * shape.sqrt());
    if shape > LARGE_SHAPE {
        return shape * cube.powi(3);
    }
    let small = ((p.ln() + ln_gamma(shape + 1.0)) / shape).exp();
    let start = if cube > 0.3 {
        shape * cube.powi(3)
    } else {
        small
    };
    let excess = |x: f64| {
        // The smaller tail is compared, so that extreme quantiles keep their digits.
        if p < 0.5 {
            gamma_lower_tail(shape, x) - p
        } else {
            (1.0 - p) - gamma_upper_tail(shape, x)
        }
    };
    bracketed_newton(start.max(f64::MIN_POSITIVE), f64::INFINITY, |x| {
        let excess = excess(x);
        let density_by_ln_x = (shape * x.ln() - x - ln_gamma(shape)).exp();
        (
            excess,
            x * (-excess / density_by_ln_x).clamp(-2.0, 2.0).exp(),
        )
    })
}

/// The root of a rising function between 0 and `high`. At each point the function gives its value
/// and where it would go next; a proposal outside the bracket is replaced by the middle of it.
fn bracketed_newton(start: f64, mut high: f64, function: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut low, mut x) = (0.0, start);
    for _ in 0..200 {
        let (value, mut next) = function(x);
        if value > 0.0 {
            high = x
        } else {
            low = x
        }
        if !(next > low && next < high) {
            next = if high.is_finite() {
                0.5 * (low + high)
            } else {
                2.0 * x
            };
        }
        if (next - x).abs() <= 4.0 * f64::EPSILON * x {
            return next;
        }
        x = next;
    }
    x
}

/// Chance that a beta variate is at most `x` (regularised incomplete beta), by the continued
/// fraction 8.17.22 of the NIST Digital Library of Mathematical Functions. `statrs` stops that
/// fraction after 140 terms, too early once the parameters pass some 10,000.
pub fn beta_lower_tail(first: f64, second: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let ln_front = ln_gamma(first + second) - ln_gamma(first) - ln_gamma(second)
        + first * x.ln()
        + second * (-x).ln_1p();
    let front = ln_front.exp();
    if x < (first + 1.0) / (first + second + 2.0) {
        (front * beta_fraction(first, second, x) / first).min(1.0)
    } else {
        (1.0 - front * beta_fraction(second, first, 1.0 - x) / second).max(0.0)
    }
}

/// Beta quantile, `p` in (0, 1): Newton steps kept inside a bracket.
pub fn beta_quantile(p: f64, first: f64, second: f64) -> f64 {
    let ln_scale = ln_gamma(first + second) - ln_gamma(first) - ln_gamma(second);
    bracketed_newton(first / (first + second), 1.0, |x| {
        let excess = beta_lower_tail(first, second, x) - p;
        let density = (ln_scale + (first - 1.0) * x.ln() + (second - 1.0) * (-x).ln_1p()).exp();
        (excess, x - excess / density)
    })
}

/// The continued fraction by Lentz's method.
fn beta_fraction(first: f64, second: f64, x: f64) -> f64 {
    let guard = |value: f64| if value.abs() < 1e-300 { 1e-300 } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (first + second) * x / (first + 1.0));
    let mut fraction = d;
    for step in 1..100_000 {
        let m = f64::from(step);
        let even = m * (second - m) * x / ((first + 2.0 * m - 1.0) * (first + 2.0 * m));
        let odd =
            -(first + m) * (first + second + m) * x / ((first + 2.0 * m) * (first + 2.0 * m + 1.0));
        let before = fraction;
        for term in [even, odd] {
            d = 1.0 / guard(1.0 + term * d);
            c = guard(1.0 + term / c);
            fraction *= c * d;
        }
        if (fraction - before).abs() <= f64::EPSILON * fraction.abs() {
            break;
        }
    }
    fraction
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: norm.ppf, gamma.ppf, chi2.sf.
    #[test]
    fn quantiles_agree_with_scipy() {
        for (got, expected) in [
            (normal_quantile(0.975), 1.959963984540054),
            (normal_quantile(0.005), -2.575829303548901),
            (gamma_quantile(0.025, 1.0), 0.025317807984289897),
            (gamma_quantile(0.975, 1.0), 3.6888794541139363),
            (gamma_quantile(0.975, 101.0), 121.62679379242638),
            (gamma_quantile(0.025, 0.5), 0.0004910345585876278),
            (chi_square_quantile(0.95, 1.0), 3.841458820694124),
            (
                chi_square_upper_tail(16.79294099, 1.0),
                4.168809107613359e-05,
            ),
            (student_quantile(0.975, 4.0), 2.7764451051977934),
            (beta_lower_tail(5.0, 9.0, 0.3), 0.3456864392984998),
            (beta_lower_tail(1e6, 1e6, 0.5001), 0.6113512821376899),
            (gamma_quantile(0.975, 1e10), 10000195997.345606),
        ] {
            let tolerance = if expected > 0.6 && expected < 0.62 {
                1e-7
            } else {
                1e-10
            };
            assert!(
                (got / expected - 1.0).abs() < tolerance,
                "{got} against {expected}"
            );
        }
    }
}
