//! A discrete-time hazard with a complementary log-log link and a ridge penalty.
//!
//! One row is one subject over one period; `ln(-ln(1 - hazard)) = offset + intercept + x'b`. With
//! the logarithm of age as a column the baseline is Weibull-like. Fails without events (unless the
//! intercept has a prior), where the likelihood has no maximum, and for columns that repeat each
//! other without a penalty. Choosing the penalty is left to `cross_validation`, scaling columns
//! to the caller.

use super::hazard_likelihood::{PersonPeriods, Problem, Ridge, WHAT};
use crate::input::{FitError, InputError, all_finite, at_least, not_negative, same_length};
use crate::limits::{Limits, two_sided_z};

use super::design::Design;

const MOST_ITERATIONS: usize = 100;
/// The fit ends with a step of at most this many standard errors. Steps shrink by their square, so what is left
/// after it is some 1e-10 of one.
const SMALL_STEP: f64 = 1e-5;
/// A linear predictor this far out is taken for a coefficient without bound.
const MOST_PREDICTOR: f64 = 60.0;

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
    let (beta, iterations) = top(&problem, start)?;
    problem.finish(beta, iterations)
}

/// The coefficients of such a fit alone, the intercept first: a quarter of the work less.
pub fn coefficients_from(
    data: &PersonPeriods,
    ridge: &Ridge,
    start: Option<&[f64]>,
) -> Result<Vec<f64>, FitError> {
    let problem = Problem::new(*data, ridge)?;
    Ok(top(&problem, start)?.0)
}

/// Where the surface is highest, and the steps it took to get there.
fn top(problem: &Problem, start: Option<&[f64]>) -> Result<(Vec<f64>, usize), FitError> {
    let mut beta = match start {
        Some(start) => {
            same_length("start", start.len(), "coefficients", problem.centre.len())?;
            all_finite("start", start)?;
            start.to_vec()
        }
        None => problem.start(),
    };
    let mut last_step = f64::INFINITY;
    let mut here = problem.surface(&beta, false);
    for iteration in 1..=MOST_ITERATIONS {
        let height = here.height();
        let information = problem.penalised(&here.information);
        let factor = information
            .cholesky()
            .ok_or(FitError::Singular { what: WHAT })?;
        let step = factor.solve(&here.gradient);
        // The Newton decrement: the step's length in standard errors, whatever the columns' scale.
        let length = here.gradient.dot(&step).max(0.0).sqrt();
        if length < SMALL_STEP {
            // The top is so near that whether the step climbs is a matter of rounding.
            for (slope, step) in beta.iter_mut().zip(step.iter()) {
                *slope += step;
            }
            return Ok((beta, iteration));
        }
        let (mut fraction, mut next) = (1.0, beta.clone());
        let there = loop {
            for (j, to) in next.iter_mut().enumerate() {
                *to = beta[j] + fraction * step[j];
            }
            let there = problem.surface(&next, false);
            let value = there.height();
            if value.is_finite() && value >= height - 1e-11 * (1.0 + height.abs()) {
                break there;
            }
            fraction *= 0.5;
            if fraction < 1e-12 {
                return Err(FitError::NotConverged {
                    what: WHAT,
                    iterations: iteration,
                    last_step,
                });
            }
        };
        beta = next;
        last_step = fraction * length;
        here = there;
        if beta[0].abs() > MOST_PREDICTOR {
            return Err(FitError::NoMaximum {
                what: WHAT,
                at: beta[0],
                remedy: "a column tells events from the rest without error: raise lambda",
            });
        }
        if last_step < SMALL_STEP {
            return Ok((beta, iteration));
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
    /// Intercept and coefficients.
    pub fn line(&self) -> Vec<f64> {
        let slopes = self.coefficients.iter().copied();
        std::iter::once(self.intercept).chain(slopes).collect()
    }

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
        self.chance_of_one(periods, offsets, confidence, 0.0)
    }

    /// As `chance`, of one subject whose predictor has an error of its own with the standard deviation
    /// `own_sd`: the limits hold both it and what is not known of the fit.
    pub fn chance_of_one(
        &self,
        periods: Design,
        offsets: Option<&[f64]>,
        confidence: f64,
        own_sd: f64,
    ) -> Result<Chance, InputError> {
        not_negative("own_sd", own_sd)?;
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
        let sd = (variance.max(0.0) + own_sd * own_sd).sqrt();
        let limits = Limits::log_normal(total, z, sd);
        let failed = |gathered: f64| -(-gathered).exp_m1();
        Ok(Chance {
            chance: failed(total),
            limits: limits.map(failed),
        })
    }
}
