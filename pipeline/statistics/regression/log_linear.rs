//! Regression of a mean that is a product: the logarithm of what is expected is a line in the columns.
//!
//! Only the mean is modelled, with a variance in proportion to it (quasi-likelihood: Wedderburn,
//! Biometrika 61:439, 1974; for counts it is Poisson regression). Answers may be below 0, as
//! measurements about a small mean are; so that no answer can draw a mean towards nought without end, the
//! mean goes on in a straight line where its logarithm leaves the bounds. Fails for cells that are not finite, weights or penalties
//! below 0, and columns that repeat each other without a penalty. Scaling is left to the caller.

use nalgebra::{DMatrix, DVector};

use super::design::Design;
use crate::input::{
    FitError, all_finite, all_within, at_least, not_negative, positive, same_length,
};

const WHAT: &str = "log-linear regression";
const MOST_ITERATIONS: usize = 100;
/// The fit ends when the quasi-likelihood would rise by less than this, per unit of itself.
const SMALL_RISE: f64 = 1e-15;
/// Share of a column's own curvature below which what is left of it after the others is rounding.
const SINGULAR: f64 = 1e-12;
/// Beyond this predictor, on both sides, the mean goes on in a straight line instead of as an exponential:
/// the objective stays concave and smooth, and has a highest point whatever the answers.
const FARTHEST: f64 = 12.0;

/// The mean at a predictor, its slope, and its integral from the left.
struct Mean {
    mean: f64,
    slope: f64,
    integral: f64,
}

impl Mean {
    fn at(eta: f64) -> Self {
        let bound = eta.clamp(-FARTHEST, FARTHEST);
        let (at_bound, beyond) = (bound.exp(), eta - bound);
        Self {
            mean: at_bound * (1.0 + beyond),
            slope: at_bound,
            integral: at_bound * (1.0 + beyond + 0.5 * beyond * beyond),
        }
    }
}

/// A fitted log-linear mean.
#[derive(Debug, Clone, PartialEq)]
pub struct LogLinearFit {
    pub intercept: f64,
    pub coefficients: Vec<f64>,
    pub iterations: usize,
}

/// What a fit is made on: answers, how much each counts, and the logarithm of what it is held against.
#[derive(Debug, Clone, Copy)]
pub struct Answers<'a> {
    pub values: &'a [f64],
    pub weights: &'a [f64],
    pub offsets: &'a [f64],
}

/// Maximises `sum w (y eta - exp eta) - lambda/2 sum b_j^2` with `eta = offset + a + x'b`; the intercept
/// is free. Weights are brought to a mean of 1. Newton's steps, halved where they would not rise: the
/// objective is concave.
pub fn log_linear(design: Design, answers: Answers, lambda: f64) -> Result<LogLinearFit, FitError> {
    let rows = answers.values.len();
    at_least("rows", rows, 2)?;
    design.check(rows)?;
    all_finite("answer", answers.values)?;
    same_length("offsets", answers.offsets.len(), "answers", rows)?;
    all_finite("offset", answers.offsets)?;
    same_length("weights", answers.weights.len(), "answers", rows)?;
    all_within("weight", answers.weights, "0 or more", |weight| {
        weight >= 0.0
    })?;
    let mean_weight = positive(
        "mean weight",
        answers.weights.iter().sum::<f64>() / rows as f64,
    )?;
    not_negative("lambda", lambda)?;
    let problem = Problem {
        design,
        answers,
        mean_weight,
        lambda,
    };
    let mut beta = vec![0.0; design.columns + 1];
    beta[0] = problem.level()?;
    let mut height = problem.height(&beta);
    for iteration in 1..=MOST_ITERATIONS {
        let (gradient, curvature) = problem.slopes(&beta);
        let diagonal = curvature.diagonal();
        let factor = curvature
            .cholesky()
            .ok_or(FitError::Singular { what: WHAT })?;
        // A column that others make up leaves nothing but rounding of its own in the factor.
        let repeated =
            (0..beta.len()).any(|j| factor.l_dirty()[(j, j)].powi(2) <= SINGULAR * diagonal[j]);
        if repeated && lambda == 0.0 {
            return Err(FitError::Singular { what: WHAT });
        }
        let step = factor.solve(&gradient);
        let promised = gradient.dot(&step);
        if promised <= SMALL_RISE * (1.0 + height.abs()) {
            return Ok(LogLinearFit {
                intercept: beta[0],
                coefficients: beta[1..].to_vec(),
                iterations: iteration,
            });
        }
        let mut fraction = 1.0;
        loop {
            let next: Vec<f64> = beta
                .iter()
                .zip(step.iter())
                .map(|(b, s)| b + fraction * s)
                .collect();
            let reached = problem.height(&next);
            if reached.is_finite() && reached >= height - 1e-12 * (1.0 + height.abs()) {
                (beta, height) = (next, reached);
                break;
            }
            fraction *= 0.5;
            if fraction < 1e-10 {
                return Err(FitError::NotConverged {
                    what: WHAT,
                    iterations: iteration,
                    last_step: promised,
                });
            }
        }
    }
    Err(FitError::NotConverged {
        what: WHAT,
        iterations: MOST_ITERATIONS,
        last_step: f64::NAN,
    })
}

struct Problem<'a> {
    design: Design<'a>,
    answers: Answers<'a>,
    mean_weight: f64,
    lambda: f64,
}

impl Problem<'_> {
    /// The intercept that meets the weighted total where all slopes are 0.
    fn level(&self) -> Result<f64, FitError> {
        let (mut seen, mut held_against) = (0.0, 0.0);
        let of_rows = self.answers.values.iter().zip(self.answers.weights);
        for ((y, w), offset) in of_rows.zip(self.answers.offsets) {
            seen += w * y;
            held_against += w * offset.exp();
        }
        Ok(positive("weighted total of the answers", seen)?.ln() - held_against.ln())
    }

    fn predictor(&self, beta: &[f64], row: usize) -> f64 {
        let line = self.design.row(row).iter().zip(&beta[1..]);
        let sum: f64 = line.map(|(x, b)| x * b).sum();
        self.answers.offsets[row] + beta[0] + sum
    }

    fn height(&self, beta: &[f64]) -> f64 {
        let likelihood: f64 = (0..self.answers.values.len())
            .map(|row| {
                let eta = self.predictor(beta, row);
                self.weight(row) * (self.answers.values[row] * eta - Mean::at(eta).integral)
            })
            .sum();
        likelihood - self.lambda / 2.0 * beta[1..].iter().map(|b| b * b).sum::<f64>()
    }

    fn weight(&self, row: usize) -> f64 {
        self.answers.weights[row] / self.mean_weight
    }

    fn slopes(&self, beta: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let size = beta.len();
        let mut gradient = DVector::zeros(size);
        let mut curvature = DMatrix::zeros(size, size);
        let mut cells: Vec<(usize, f64)> = Vec::with_capacity(size);
        for row in 0..self.answers.values.len() {
            let Mean { mean, slope, .. } = Mean::at(self.predictor(beta, row));
            let weight = self.weight(row);
            cells.clear();
            cells.push((0, 1.0));
            let values = self.design.row(row).iter().copied().enumerate();
            cells.extend(values.filter(|cell| cell.1 != 0.0).map(|(j, x)| (j + 1, x)));
            for (position, &(j, x)) in cells.iter().enumerate() {
                gradient[j] += weight * (self.answers.values[row] - mean) * x;
                for &(i, other) in &cells[..=position] {
                    curvature[(i, j)] += weight * slope * x * other;
                }
            }
        }
        curvature.fill_lower_triangle_with_upper_triangle();
        for j in 1..size {
            gradient[j] -= self.lambda * beta[j];
            curvature[(j, j)] += self.lambda;
        }
        (gradient, curvature)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(x: &[f64], y: &[f64], weights: &[f64], lambda: f64) -> Result<LogLinearFit, FitError> {
        let offsets = vec![0.0; y.len()];
        let design = Design {
            columns: x.len() / y.len(),
            values: x,
        };
        let answers = Answers {
            values: y,
            weights,
            offsets: &offsets,
        };
        log_linear(design, answers, lambda)
    }

    /// Two groups: the means are met exactly, so the slope is the logarithm of their ratio.
    #[test]
    fn a_flag_gives_the_ratio_of_two_means() {
        let x = [0.0, 0.0, 1.0, 1.0, 1.0];
        let y = [1.0, 3.0, 4.0, 8.0, 6.0];
        let fit = fit(&x, &y, &[1.0; 5], 0.0).unwrap();
        assert!((fit.intercept - 2.0_f64.ln()).abs() < 1e-9);
        assert!((fit.coefficients[0] - 3.0_f64.ln()).abs() < 1e-9);
    }

    #[test]
    fn a_weight_counts_as_so_many_rows_and_an_answer_may_be_below_zero() {
        let weighed = fit(&[0.0, 1.0, 2.0], &[-0.1, 0.4, 0.9], &[1.0, 2.0, 3.0], 0.0).unwrap();
        let repeated = fit(
            &[0.0, 1.0, 1.0, 2.0, 2.0, 2.0],
            &[-0.1, 0.4, 0.4, 0.9, 0.9, 0.9],
            &[1.0; 6],
            0.0,
        )
        .unwrap();
        assert!((weighed.intercept - repeated.intercept).abs() < 1e-9);
        assert!((weighed.coefficients[0] - repeated.coefficients[0]).abs() < 1e-9);
    }

    /// At the maximum the slope's score is what the penalty takes: sum (y - mean) x = lambda b.
    #[test]
    fn a_penalty_draws_the_slope_towards_none() {
        let (x, y) = ([-1.0, 0.0, 1.0, 2.0], [1.0, 2.0, 2.5, 7.0]);
        let free = fit(&x, &y, &[1.0; 4], 0.0).unwrap();
        let drawn = fit(&x, &y, &[1.0; 4], 5.0).unwrap();
        let b = drawn.coefficients[0];
        assert!(b > 0.0 && b < free.coefficients[0]);
        let score: f64 = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (y - (drawn.intercept + b * x).exp()) * x)
            .sum();
        assert!(
            (score - 5.0 * b).abs() < 1e-7,
            "{score} against {}",
            5.0 * b
        );
    }

    /// All of one group's answers are below 0, which no mean of a product can be. At the maximum the 350
    /// rows without the flag and the 50 with it have means that sum to the answers' 350 · 0.2 − 50, and the
    /// flag's score is what the penalty takes.
    #[test]
    fn answers_below_nought_end_the_fit_nowhere() {
        let x: Vec<f64> = (0..400).map(|row| f64::from(row % 8 == 0)).collect();
        let y: Vec<f64> = x.iter().map(|flag| 0.2 - 1.2 * flag).collect();
        for lambda in [0.0, 1.0, 1_000.0] {
            let found = fit(&x, &y, &[1.0; 400], lambda).unwrap();
            assert!(found.coefficients[0] < -1.0 / (1.0 + lambda), "{found:?}");
            let plain = Mean::at(found.intercept).mean;
            let flagged = Mean::at(found.intercept + found.coefficients[0]).mean;
            assert!(
                (350.0 * plain + 50.0 * flagged - 20.0).abs() < 1e-3,
                "{found:?}"
            );
            let score = 50.0 * (-1.0 - flagged);
            assert!(
                (score - lambda * found.coefficients[0]).abs() < 1e-3,
                "{found:?}"
            );
        }
    }

    #[test]
    fn what_has_no_answer_is_said() {
        assert!(fit(&[1.0, 2.0], &[-1.0, -2.0], &[1.0; 2], 1.0).is_err());
        assert!(fit(&[1.0, f64::NAN], &[1.0, 2.0], &[1.0; 2], 1.0).is_err());
        assert!(matches!(
            fit(
                &[1.0, 1.0, 2.0, 2.0, 3.0, 3.0],
                &[1.0, 2.0, 4.0],
                &[1.0; 3],
                0.0
            ),
            Err(FitError::Singular { .. })
        ));
    }
}
