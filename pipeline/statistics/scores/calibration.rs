//! Are foretold chances right on the whole, and neither too bold nor too timid?
//!
//! Fails for chances of exactly 0 or 1, when all outcomes are alike, when the chances are all
//! equal, and when they separate the outcomes without error. How well the ranking works is left to
//! `concordance` and `lift`.

use super::brier::check_outcomes;
use crate::input::{FitError, InputError, all_within};
use crate::limits::{Limits, two_sided_z};
use crate::lives::censoring_weight::Outcome;

const WHAT: &str = "calibration";
const MOST_ITERATIONS: usize = 100;
/// A slope beyond this is taken for separation.
const MOST_COEFFICIENT: f64 = 1e3;

/// An estimate with its standard error and normal limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficient {
    pub value: f64,
    pub se: f64,
    pub limits: Limits,
}

/// Logistic recalibration (Cox, Biometrika 45:562, 1958).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    /// `a` of `logit P(failed) = a + b logit(chance)`.
    pub intercept: Coefficient,
    /// `b`; 1 when chances are right, below 1 when they are too bold.
    pub slope: Coefficient,
    /// `a` with `b` held at 1; 0 when chances are right on the whole.
    pub in_the_large: Coefficient,
    pub observed: f64,
    pub expected: f64,
    /// Observed over expected failures.
    pub ratio: f64,
}

/// One subject in logits.
struct Row {
    logit: f64,
    failed: f64,
    weight: f64,
}

/// Fits by Newton's method. Standard errors come from the information when every weight is 0 or 1;
/// with censoring weights they are the robust ones, `I^-1 (sum w^2 r^2 x x') I^-1`.
pub fn calibration(
    chances: &[f64],
    outcomes: &[Outcome],
    confidence: f64,
) -> Result<Calibration, FitError> {
    let z = two_sided_z(confidence)?;
    check_outcomes(chances.len(), outcomes)?;
    all_within("chance", chances, "between 0 and 1, ends excluded", |p| {
        p > 0.0 && p < 1.0
    })?;
    let rows: Vec<Row> = chances
        .iter()
        .zip(outcomes)
        .filter(|(_, outcome)| outcome.weight > 0.0)
        .map(|(p, outcome)| Row {
            logit: p.ln() - (-p).ln_1p(),
            failed: if outcome.failed { 1.0 } else { 0.0 },
            weight: outcome.weight,
        })
        .collect();
    let seen = chances.iter().zip(outcomes);
    let expected: f64 = seen.map(|(p, outcome)| p * outcome.weight).sum();
    let observed: f64 = rows.iter().map(|row| row.failed * row.weight).sum();
    let lived: f64 = rows.iter().map(|row| (1.0 - row.failed) * row.weight).sum();
    if observed == 0.0 {
        return Err(FitError::NoEvents {
            what: WHAT,
            rows: rows.len(),
        });
    }
    if lived == 0.0 {
        return Err(FitError::NoMaximum {
            what: WHAT,
            at: 1.0,
            remedy: "every subject failed: give some that did not",
        });
    }
    let robust = rows.iter().any(|row| row.weight != 1.0);
    let coefficient = |value: f64, variance: f64| {
        let se = variance.max(0.0).sqrt();
        Coefficient {
            value,
            se,
            limits: Limits::normal(value, z, se),
        }
    };
    let (line, line_variance) = fit(&rows, Free::InterceptAndSlope, robust)?;
    let (level, level_variance) = fit(&rows, Free::Intercept, robust)?;
    Ok(Calibration {
        intercept: coefficient(line[0], line_variance[0]),
        slope: coefficient(line[1], line_variance[1]),
        in_the_large: coefficient(level[0], level_variance[0]),
        observed,
        expected,
        ratio: observed / expected,
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Free {
    InterceptAndSlope,
    Intercept,
}

/// Weighted sums at one line: log-likelihood, gradient, information and squared scores, the
/// symmetric ones as (11, 12, 22).
#[derive(Default)]
struct Sums {
    log_likelihood: f64,
    gradient: [f64; 2],
    information: [f64; 3],
    squares: [f64; 3],
}

fn sums(rows: &[Row], line: [f64; 2]) -> Sums {
    let mut sums = Sums::default();
    for row in rows {
        let eta = line[0] + line[1] * row.logit;
        let chance = 1.0 / (1.0 + (-eta).exp());
        // ln(1 + e^eta) without overflow.
        let softplus = eta.max(0.0) + (-eta.abs()).exp().ln_1p();
        sums.log_likelihood += row.weight * (row.failed * eta - softplus);
        let score = row.weight * (row.failed - chance);
        let curvature = row.weight * chance * (1.0 - chance);
        let products = [1.0, row.logit, row.logit * row.logit];
        for (part, product) in products.into_iter().enumerate() {
            sums.information[part] += curvature * product;
            sums.squares[part] += score * score * product;
        }
        sums.gradient[0] += score;
        sums.gradient[1] += score * row.logit;
    }
    sums
}

/// The line and the variances of its two parts.
fn fit(rows: &[Row], free: Free, robust: bool) -> Result<([f64; 2], [f64; 2]), FitError> {
    let mut line = [0.0, 1.0];
    let mut here = sums(rows, line);
    let mut last_step = f64::INFINITY;
    for iteration in 1..=MOST_ITERATIONS {
        let inverse = inverse(&here.information, free)?;
        let step = [
            inverse[0] * here.gradient[0] + inverse[1] * here.gradient[1],
            inverse[1] * here.gradient[0] + inverse[2] * here.gradient[1],
        ];
        let mut fraction = 1.0;
        let mut next_line = [line[0] + step[0], line[1] + step[1]];
        let mut next = sums(rows, next_line);
        while next.log_likelihood < here.log_likelihood - 1e-12 * here.log_likelihood.abs() {
            fraction *= 0.5;
            if fraction < 1e-10 {
                return Err(FitError::NotConverged {
                    what: WHAT,
                    iterations: iteration,
                    last_step,
                });
            }
            next_line = [line[0] + fraction * step[0], line[1] + fraction * step[1]];
            next = sums(rows, next_line);
        }
        (line, here) = (next_line, next);
        if let Some(&at) = line.iter().find(|part| part.abs() > MOST_COEFFICIENT) {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at,
                remedy: "the chances tell all outcomes apart: give more subjects",
            });
        }
        last_step = fraction * step[0].abs().max(step[1].abs());
        if last_step < 1e-10 {
            return Ok((line, variances(&here, free, robust)?));
        }
    }
    Err(FitError::NotConverged {
        what: WHAT,
        iterations: MOST_ITERATIONS,
        last_step,
    })
}

fn inverse(information: &[f64; 3], free: Free) -> Result<[f64; 3], FitError> {
    let [a, b, c] = *information;
    if free == Free::Intercept {
        return if a > 0.0 {
            Ok([1.0 / a, 0.0, 0.0])
        } else {
            Err(FitError::Singular { what: WHAT })
        };
    }
    let determinant = a * c - b * b;
    if determinant > 1e-12 * a * c {
        Ok([c / determinant, -b / determinant, a / determinant])
    } else {
        Err(FitError::Singular { what: WHAT })
    }
}

fn variances(end: &Sums, free: Free, robust: bool) -> Result<[f64; 2], FitError> {
    let [a, b, c] = inverse(&end.information, free)?;
    if !robust {
        return Ok([a, c]);
    }
    let [p, q, r] = end.squares;
    let sandwich =
        |left: f64, right: f64| left * left * p + 2.0 * left * right * q + right * right * r;
    Ok([sandwich(a, b), sandwich(b, c)])
}

/// The mean logarithmic score `-sum w (y ln p + (1-y) ln(1-p)) / n`; chances as in `calibration`.
pub fn log_loss(chances: &[f64], outcomes: &[Outcome]) -> Result<f64, InputError> {
    check_outcomes(chances.len(), outcomes)?;
    all_within("chance", chances, "between 0 and 1, ends excluded", |p| {
        p > 0.0 && p < 1.0
    })?;
    let term = |(p, outcome): (&f64, &Outcome)| {
        outcome.weight * if outcome.failed { p.ln() } else { (-p).ln_1p() }
    };
    Ok(-chances.iter().zip(outcomes).map(term).sum::<f64>() / chances.len() as f64)
}
