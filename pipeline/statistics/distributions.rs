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
    let front = ln_beta_front(first, second, x).exp();
    if x < (first + 1.0) / (first + second + 2.0) {
        (front * beta_fraction(first, second, x) / first).min(1.0)
    } else {
        (1.0 - front * beta_fraction(second, first, 1.0 - x) / second).max(0.0)
    }
}

/// `ln (x^a (1-x)^b / B(a, b))` as distances from where it is greatest and remainders of Stirling's
/// series (Loader, Fast and accurate computation of binomial probabilities, 2000): the logarithms of
/// three gamma functions of 10^9 would leave six digits of it.
fn ln_beta_front(first: f64, second: f64, x: f64) -> f64 {
    let both = first + second;
    stirling_rest(both) - stirling_rest(first) - stirling_rest(second)
        + 0.5 * (first / both * second / (2.0 * std::f64::consts::PI)).ln()
        - distance(first, both * x)
        - distance(second, both * (1.0 - x))
}

/// `ln Gamma(z) - (z - 1/2) ln z + z - ln sqrt(2 pi)`.
fn stirling_rest(z: f64) -> f64 {
    if z < 16.0 {
        const LN_ROOT_TWO_PI: f64 = 0.918_938_533_204_672_7;
        return ln_gamma(z) - (z - 0.5) * z.ln() + z - LN_ROOT_TWO_PI;
    }
    let square = z * z;
    (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1260.0 - 1.0 / 1680.0 / square) / square) / square) / z
}

/// `x ln(x / mean) + mean - x`, without the loss of digits where the two are near each other.
fn distance(x: f64, mean: f64) -> f64 {
    let off = (x - mean) / (x + mean);
    if off.abs() >= 0.1 {
        return x * (x / mean).ln() + mean - x;
    }
    // ln(x / mean) = 2 (off + off^3/3 + ...)
    let mut power = 2.0 * x * off;
    let mut sum = (x - mean) * off;
    for step in 1..1_000 {
        power *= off * off;
        let next = sum + power / f64::from(2 * step + 1);
        if next == sum {
            break;
        }
        sum = next;
    }
    sum
}

/// `psi(size + count) - psi(size)`, the sum of `1 / (size + k)` over k below the count, for a size
/// above 0: the first terms as they are until Stirling's series holds.
pub fn digamma_rise(size: f64, count: f64) -> f64 {
    let plain = count.min((16.0 - size).max(0.0).ceil());
    let sum: f64 = (0..plain as u32).map(|k| 1.0 / (size + f64::from(k))).sum();
    if plain == count {
        return sum;
    }
    let (from, to) = (size + plain, size + count);
    let rest = |z: f64| {
        let square = z * z;
        -0.5 / z
            - (1.0 / 12.0 - (1.0 / 120.0 - (1.0 / 252.0 - 1.0 / 240.0 / square) / square) / square)
                / square
    };
    sum + ((count - plain) / from).ln_1p() + (rest(to) - rest(from))
}

/// Beta quantile, `p` in (0, 1): Newton steps kept inside a bracket.
pub fn beta_quantile(p: f64, first: f64, second: f64) -> f64 {
    bracketed_newton(first / (first + second), 1.0, |x| {
        let excess = beta_lower_tail(first, second, x) - p;
        let density = ln_beta_front(first, second, x).exp() / (x * (1.0 - x));
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
            (gamma_quantile(0.975, 1e10), 10000195997.345606),
        ] {
            assert!(
                (got / expected - 1.0).abs() < 1e-10,
                "{got} against {expected}"
            );
        }
    }

    /// mpmath 1.4.1 with 30 digits: the tail by its series and by integration, the quantiles by halving.
    #[test]
    fn tails_of_a_thousand_million_trials_keep_their_digits() {
        for (got, expected, by) in [
            (beta_lower_tail(1e6, 1e6, 0.5001), 0.611351282137678, 1e-11),
            (
                beta_lower_tail(5e8, 5e8 + 1.0, 0.5),
                0.5000126156626069,
                1e-11,
            ),
            (
                beta_quantile(0.025, 5e8, 5e8 + 1.0),
                0.4999690097484223,
                1e-13,
            ),
            (
                beta_quantile(0.975, 5e8 + 1.0, 5e8),
                0.5000309902515777,
                1e-13,
            ),
            // One less a share this small has eight of its digits.
            (
                beta_quantile(0.025, 5.0, 1e9 - 4.0),
                1.623486392047539e-9,
                1e-8,
            ),
            (
                beta_quantile(0.975, 6.0, 1e9 - 5.0),
                1.166833204041851e-8,
                1e-8,
            ),
        ] {
            assert!(
                (got / expected - 1.0).abs() < by,
                "{got} against {expected}"
            );
        }
    }

    /// The sum by its terms where they are few, and Stirling's series against it.
    #[test]
    fn digamma_rises_by_the_sum_of_reciprocals() {
        for (size, count) in [
            (1e-4, 3.0),
            (0.3, 40.0),
            (7.0, 9.0),
            (120.0, 500.0),
            (1e7, 800.0),
        ] {
            let terms = (0..count as u32).rev().map(|k| 1.0 / (size + f64::from(k)));
            let (sum, rise) = (terms.sum::<f64>(), digamma_rise(size, count));
            assert!(
                (rise / sum - 1.0).abs() < 1e-14,
                "{size} {count}: {rise} {sum}"
            );
        }
    }
}
