//! A discrete-time hazard with a complementary log-log link and a ridge penalty.
//!
//! One row is one subject over one period; `ln(-ln(1 - hazard)) = offset + intercept + x'b`. With
//! the logarithm of age as a column the baseline is Weibull-like. Fails without events (unless the
//! intercept has a prior), where the likelihood has no maximum, and for columns that repeat each
//! other without a penalty. Choosing the penalty is left to `cross_validation`, scaling columns
//! to the caller.

use super::input::{
    FitError, InputError, all_finite, all_within, at_least, not_negative, positive, same_length,
};
use super::limits::{Limits, two_sided_z};
use super::weibull_likelihood::NormalPrior;
use nalgebra::{DMatrix, DVector};

const WHAT: &str = "hazard regression";
const MOST_ITERATIONS: usize = 100;
const SMALL_STEP: f64 = 1e-9;
/// A linear predictor this far out is taken for a coefficient without bound.
const MOST_PREDICTOR: f64 = 60.0;

/// Rows of numbers, one after another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design<'a> {
    pub columns: usize,
    pub values: &'a [f64],
}

impl<'a> Design<'a> {
    pub fn row(&self, index: usize) -> &'a [f64] {
        &self.values[index * self.columns..(index + 1) * self.columns]
    }
}

/// Person-periods: the design, whether each row ended in an event, and, where they differ from
/// 1 and 0, weights and offsets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PersonPeriods<'a> {
    pub design: Design<'a>,
    pub events: &'a [bool],
    pub weights: Option<&'a [f64]>,
    pub offsets: Option<&'a [f64]>,
}

/// The penalty `lambda/2 * sum factor_j (b_j - centre_j)^2`. The intercept is free unless it has a
/// prior. Empty `factors` are all 1, an empty `centre` is all 0.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ridge {
    pub lambda: f64,
    pub factors: Vec<f64>,
    pub centre: Vec<f64>,
    pub intercept: Option<NormalPrior>,
}

impl Ridge {
    pub fn new(lambda: f64) -> Self {
        Self {
            lambda,
            ..Self::default()
        }
    }
}

/// A fitted hazard.
#[derive(Debug, Clone, PartialEq)]
pub struct HazardFit {
    pub intercept: f64,
    pub coefficients: Vec<f64>,
    /// Inverse of the penalised expected information, row by row, the intercept first.
    pub covariance: Vec<f64>,
    /// Log-likelihood without the penalty.
    pub log_likelihood: f64,
    /// Log-likelihood less the penalty, which the fit maximises.
    pub penalised_log_likelihood: f64,
    /// Trace of the covariance times the expected information, the intercept included.
    pub effective_df: f64,
    pub rows: usize,
    pub events: usize,
    pub iterations: usize,
}

/// The chance of an event over several periods.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    pub chance: f64,
    pub limits: Limits,
}

impl PersonPeriods<'_> {
    pub fn rows(&self) -> usize {
        self.events.len()
    }

    pub(crate) fn weight(&self, row: usize) -> f64 {
        self.weights.map_or(1.0, |weights| weights[row])
    }

    fn offset(&self, row: usize) -> f64 {
        self.offsets.map_or(0.0, |offsets| offsets[row])
    }

    pub(crate) fn check(&self) -> Result<(), InputError> {
        let rows = self.rows();
        at_least("rows", rows, 1)?;
        let cells = rows.saturating_mul(self.design.columns);
        same_length(
            "design cells",
            self.design.values.len(),
            "rows times columns",
            cells,
        )?;
        all_finite("design cell", self.design.values)?;
        if let Some(weights) = self.weights {
            same_length("weights", weights.len(), "rows", rows)?;
            all_within("weight", weights, "0 or more", |weight| weight >= 0.0)?;
        }
        if let Some(offsets) = self.offsets {
            same_length("offsets", offsets.len(), "rows", rows)?;
            all_finite("offset", offsets)?;
        }
        Ok(())
    }

    /// The weighted log-likelihood of given coefficients, the intercept first.
    pub(crate) fn log_likelihood(&self, beta: &[f64]) -> f64 {
        (0..self.rows())
            .filter(|&row| self.weight(row) > 0.0)
            .map(|row| {
                let eta = self.offset(row) + predictor(beta, self.design.row(row));
                self.weight(row) * Point::at(eta, self.events[row]).log_likelihood
            })
            .sum()
    }
}

fn predictor(beta: &[f64], row: &[f64]) -> f64 {
    beta[0] + beta[1..].iter().zip(row).map(|(b, x)| b * x).sum::<f64>()
}

/// One row's log-likelihood and its derivatives in the linear predictor. With `m = exp(eta)` it is
/// `ln(1 - e^-m)` for an event and `-m` for none; both are concave in eta.
struct Point {
    log_likelihood: f64,
    score: f64,
    observed: f64,
    expected: f64,
}

impl Point {
    fn at(eta: f64, event: bool) -> Self {
        let m = eta.exp();
        // m / (e^m - 1), which tends to 1 as m does to 0 and to 0 as m grows.
        let ratio = if m < 1e-12 { 1.0 } else { m / m.exp_m1() };
        let expected = if m > 700.0 { 0.0 } else { m * ratio };
        if !event {
            return Self {
                log_likelihood: -m,
                score: -m,
                observed: m,
                expected,
            };
        }
        let log_likelihood = if m < 1e-12 {
            eta
        } else {
            (-(-m).exp_m1()).ln()
        };
        let observed = if m < 1e-5 {
            0.5 * m
        } else {
            ratio * (m + ratio - 1.0)
        };
        Self {
            log_likelihood,
            score: ratio,
            observed: observed.max(0.0),
            expected,
        }
    }
}

/// The penalised log-likelihood with its gradient, and the information it is read with.
struct Surface {
    log_likelihood: f64,
    penalty: f64,
    gradient: DVector<f64>,
    information: DMatrix<f64>,
}

struct Problem<'a> {
    data: PersonPeriods<'a>,
    /// Precision and centre of each coefficient, the intercept first.
    precision: Vec<f64>,
    centre: Vec<f64>,
}

impl<'a> Problem<'a> {
    fn new(data: PersonPeriods<'a>, ridge: &Ridge) -> Result<Self, FitError> {
        data.check()?;
        not_negative("lambda", ridge.lambda)?;
        let columns = data.design.columns;
        let mut precision = vec![0.0];
        let mut centre = vec![0.0];
        if let Some(prior) = ridge.intercept {
            all_finite("prior mean of the intercept", &[prior.mean])?;
            positive("prior sd of the intercept", prior.sd)?;
            precision[0] = 1.0 / (prior.sd * prior.sd);
            centre[0] = prior.mean;
        }
        let fill = |what, given: &[f64], usual: f64| -> Result<Vec<f64>, InputError> {
            if given.is_empty() {
                return Ok(vec![usual; columns]);
            }
            same_length(what, given.len(), "columns", columns)?;
            all_finite(what, given)?;
            Ok(given.to_vec())
        };
        let factors = fill("ridge factors", &ridge.factors, 1.0)?;
        all_within("ridge factors", &factors, "0 or more", |factor| {
            factor >= 0.0
        })?;
        precision.extend(factors.iter().map(|factor| factor * ridge.lambda));
        centre.extend(fill("ridge centre", &ridge.centre, 0.0)?);
        let weighed = |event: bool| {
            (0..data.rows()).any(|row| data.events[row] == event && data.weight(row) > 0.0)
        };
        if precision[0] == 0.0 && !weighed(true) {
            return Err(FitError::NoEvents {
                what: WHAT,
                rows: data.rows(),
            });
        }
        if precision[0] == 0.0 && !weighed(false) {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at: 1.0,
                remedy: "every row is an event: give periods without one or a prior",
            });
        }
        Ok(Self {
            data,
            precision,
            centre,
        })
    }

    fn surface(&self, beta: &[f64], expected: bool) -> Surface {
        let size = beta.len();
        let mut log_likelihood = 0.0;
        let mut gradient = DVector::zeros(size);
        let mut information = DMatrix::zeros(size, size);
        // Only cells that are not 0 are visited: indicator columns cost nothing where they are 0.
        let mut cells: Vec<(usize, f64)> = Vec::with_capacity(size);
        for row in 0..self.data.rows() {
            let weight = self.data.weight(row);
            if weight == 0.0 {
                continue;
            }
            cells.clear();
            cells.push((0, 1.0));
            let values = self.data.design.row(row).iter().copied();
            cells.extend(
                values
                    .enumerate()
                    .filter(|cell| cell.1 != 0.0)
                    .map(|(j, x)| (j + 1, x)),
            );
            let eta = cells.iter().map(|&(j, x)| beta[j] * x).sum::<f64>() + self.data.offset(row);
            let point = Point::at(eta, self.data.events[row]);
            log_likelihood += weight * point.log_likelihood;
            let curvature = weight
                * if expected {
                    point.expected
                } else {
                    point.observed
                };
            for (position, &(j, x)) in cells.iter().enumerate() {
                gradient[j] += weight * point.score * x;
                let scaled = curvature * x;
                for &(i, other) in &cells[..=position] {
                    information[(i, j)] += scaled * other;
                }
            }
        }
        information.fill_lower_triangle_with_upper_triangle();
        let mut penalty = 0.0;
        for j in 0..size {
            let off = beta[j] - self.centre[j];
            penalty += 0.5 * self.precision[j] * off * off;
            gradient[j] -= self.precision[j] * off;
        }
        Surface {
            log_likelihood,
            penalty,
            gradient,
            information,
        }
    }

    fn value(&self, beta: &[f64]) -> f64 {
        let off = beta
            .iter()
            .zip(&self.centre)
            .map(|(b, c)| (b - c) * (b - c));
        let penalty: f64 = off
            .zip(&self.precision)
            .map(|(square, p)| 0.5 * p * square)
            .sum();
        self.data.log_likelihood(beta) - penalty
    }

    fn penalised(&self, information: &DMatrix<f64>) -> DMatrix<f64> {
        let mut penalised = information.clone();
        for (j, precision) in self.precision.iter().enumerate() {
            penalised[(j, j)] += precision;
        }
        penalised
    }

    /// Coefficients of a constant hazard at the penalty's centre.
    fn start(&self) -> Vec<f64> {
        let (mut events, mut total) = (0.0, 0.0);
        for row in 0..self.data.rows() {
            total += self.data.weight(row);
            events += if self.data.events[row] {
                self.data.weight(row)
            } else {
                0.0
            };
        }
        let share = ((events + 0.5) / (total + 1.0)).clamp(1e-12, 0.99);
        let mut beta = self.centre.clone();
        beta[0] = (-(-share).ln_1p()).ln();
        beta
    }
}

/// Fits the hazard by iteratively reweighted least squares with step halving.
///
/// The steps use the observed weights, under which the objective is concave and convergence
/// quadratic; the covariance uses the expected ones, as generalised linear models do (McCullagh and
/// Nelder 1989, section 2.5; Prentice and Gloeckler, Biometrics 34:57, 1978).
pub fn fit_hazard(data: &PersonPeriods, ridge: &Ridge) -> Result<HazardFit, FitError> {
    fit_hazard_from(data, ridge, None)
}

/// As `fit_hazard`, from given coefficients (intercept first) where a nearby fit is known.
pub fn fit_hazard_from(
    data: &PersonPeriods,
    ridge: &Ridge,
    start: Option<&[f64]>,
) -> Result<HazardFit, FitError> {
    let problem = Problem::new(*data, ridge)?;
    let mut beta = match start {
        Some(start) => {
            same_length("start", start.len(), "coefficients", problem.centre.len())?;
            all_finite("start", start)?;
            start.to_vec()
        }
        None => problem.start(),
    };
    let mut last_step = f64::INFINITY;
    for iteration in 1..=MOST_ITERATIONS {
        let here = problem.surface(&beta, false);
        let height = here.log_likelihood - here.penalty;
        let information = problem.penalised(&here.information);
        let scale: Vec<f64> = information
            .diagonal()
            .iter()
            .map(|i| i.max(0.0).sqrt())
            .collect();
        let factor = information
            .cholesky()
            .ok_or(FitError::Singular { what: WHAT })?;
        let step = factor.solve(&here.gradient);
        let (mut fraction, mut next) = (1.0, beta.clone());
        loop {
            for (j, to) in next.iter_mut().enumerate() {
                *to = beta[j] + fraction * step[j];
            }
            let value = problem.value(&next);
            if value.is_finite() && value >= height - 1e-11 * (1.0 + height.abs()) {
                break;
            }
            fraction *= 0.5;
            if fraction < 1e-12 {
                return Err(FitError::NotConverged {
                    what: WHAT,
                    iterations: iteration,
                    last_step,
                });
            }
        }
        beta = next;
        let rows = (data.rows() as f64).sqrt();
        last_step = step
            .iter()
            .zip(&scale)
            .zip(&beta)
            .map(|((step, scale), b)| {
                fraction * step.abs() * (scale / rows).max(1.0 / (1.0 + b.abs()))
            })
            .fold(0.0, f64::max);
        if beta[0].abs() > MOST_PREDICTOR {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at: beta[0],
                remedy: "a column tells events from the rest without error: raise lambda",
            });
        }
        if last_step < SMALL_STEP {
            return problem.finish(beta, iteration);
        }
    }
    Err(FitError::NotConverged {
        what: WHAT,
        iterations: MOST_ITERATIONS,
        last_step,
    })
}

impl Problem<'_> {
    fn finish(&self, beta: Vec<f64>, iterations: usize) -> Result<HazardFit, FitError> {
        let end = self.surface(&beta, true);
        let penalised = self.penalised(&end.information);
        let factor = penalised
            .cholesky()
            .ok_or(FitError::Singular { what: WHAT })?;
        let covariance = factor.inverse();
        let effective_df = (&covariance * &end.information).trace();
        let counted = |row: &usize| self.data.events[*row] && self.data.weight(*row) > 0.0;
        Ok(HazardFit {
            intercept: beta[0],
            coefficients: beta[1..].to_vec(),
            // The covariance is symmetric, so its column order is its row order.
            covariance: covariance.as_slice().to_vec(),
            log_likelihood: end.log_likelihood,
            penalised_log_likelihood: end.log_likelihood - end.penalty,
            effective_df,
            rows: self.data.rows(),
            events: (0..self.data.rows()).filter(counted).count(),
            iterations,
        })
    }
}

impl HazardFit {
    /// Intercept plus the row's contributions.
    pub fn linear_predictor(&self, row: &[f64]) -> Result<f64, InputError> {
        same_length("row", row.len(), "coefficients", self.coefficients.len())?;
        all_finite("row", row)?;
        Ok(self.intercept
            + self
                .coefficients
                .iter()
                .zip(row)
                .map(|(b, x)| b * x)
                .sum::<f64>())
    }

    /// Standard errors of the intercept and the coefficients.
    pub fn standard_errors(&self) -> Vec<f64> {
        let size = self.coefficients.len() + 1;
        (0..size)
            .map(|j| self.covariance[j * size + j].max(0.0).sqrt())
            .collect()
    }

    /// The chance of an event in any of the coming periods, one row each:
    /// `1 - exp(-sum exp(eta))`, with delta-method limits in the logarithm of that sum.
    pub fn chance(
        &self,
        periods: Design,
        offsets: Option<&[f64]>,
        confidence: f64,
    ) -> Result<Chance, InputError> {
        let z = two_sided_z(confidence)?;
        let size = self.coefficients.len() + 1;
        same_length("columns", periods.columns, "coefficients", size - 1)?;
        let rows = match offsets {
            Some(offsets) => offsets.len(),
            None => periods.values.len() / periods.columns.max(1),
        };
        at_least("periods", rows, 1)?;
        same_length(
            "design cells",
            periods.values.len(),
            "cells",
            rows * periods.columns,
        )?;
        let mut total = 0.0;
        let mut gradient = vec![0.0; size];
        for period in 0..rows {
            let row = periods.row(period);
            let offset = offsets.map_or(0.0, |offsets| offsets[period]);
            all_finite("offset", &[offset])?;
            // Beyond this the chance is 1 to the last digit.
            let m = (self.linear_predictor(row)? + offset)
                .clamp(-700.0, 50.0)
                .exp();
            total += m;
            gradient[0] += m;
            for (slope, x) in gradient[1..].iter_mut().zip(row) {
                *slope += m * x;
            }
        }
        let mut variance = 0.0;
        for (i, left) in gradient.iter().enumerate() {
            for (j, right) in gradient.iter().enumerate() {
                variance += (left / total) * self.covariance[i * size + j] * (right / total);
            }
        }
        let limits = Limits::log_normal(total, z, variance.max(0.0).sqrt());
        let failed = |gathered: f64| -(-gathered).exp_m1();
        Ok(Chance {
            chance: failed(total),
            limits: limits.map(failed),
        })
    }
}
