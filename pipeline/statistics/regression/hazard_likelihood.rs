//! The likelihood of person-periods under a complementary log-log hazard, with a ridge penalty.
//!
//! Fails for cells that are not finite and lists that do not pair up. Finding the maximum is left
//! to `hazard_regression`.

use super::design::Design;
use crate::input::{
    FitError, InputError, all_finite, all_within, at_least, not_negative, positive, same_length,
};
use crate::prior::NormalPrior;
use nalgebra::{DMatrix, DVector};

pub(crate) const WHAT: &str = "hazard regression";

const ROWS_AT_ONCE: usize = 256;

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

impl PersonPeriods<'_> {
    pub fn rows(&self) -> usize {
        self.events.len()
    }

    pub(crate) fn weight(&self, row: usize) -> f64 {
        self.weights.map_or(1.0, |weights| weights[row])
    }

    pub(crate) fn offset(&self, row: usize) -> f64 {
        self.offsets.map_or(0.0, |offsets| offsets[row])
    }

    pub(crate) fn check(&self) -> Result<(), InputError> {
        let rows = self.rows();
        at_least("rows", rows, 1)?;
        self.design.check(rows)?;
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
    curvature: f64,
}

impl Point {
    fn at(eta: f64, event: bool) -> Self {
        let m = eta.exp();
        if !event {
            return Self {
                log_likelihood: -m,
                score: -m,
                curvature: m,
            };
        }
        let log_likelihood = if m < 1e-12 {
            eta
        } else {
            (-(-m).exp_m1()).ln()
        };
        let ratio = event_score(m);
        let curvature = if m < 1e-5 {
            0.5 * m
        } else {
            ratio * (m + ratio - 1.0)
        };
        Self {
            log_likelihood,
            score: ratio,
            curvature: curvature.max(0.0),
        }
    }
}

/// The curvature that is to be expected of a row, whether it turns out an event or not.
fn expected_curvature(eta: f64) -> f64 {
    let m = eta.exp();
    if m > 700.0 { 0.0 } else { m * event_score(m) }
}

/// The score of an event, `m / (e^m - 1)`, which tends to 1 as m does to 0 and to 0 as m grows.
fn event_score(m: f64) -> f64 {
    if m < 1e-12 { 1.0 } else { m / m.exp_m1() }
}

/// The penalised log-likelihood with its gradient, and the information it is read with.
pub(crate) struct Surface {
    pub(crate) log_likelihood: f64,
    pub(crate) penalty: f64,
    pub(crate) gradient: DVector<f64>,
    pub(crate) information: DMatrix<f64>,
}

impl Surface {
    /// What is to be as great as can be.
    pub(crate) fn height(&self) -> f64 {
        self.log_likelihood - self.penalty
    }
}

pub(crate) struct Problem<'a> {
    pub(crate) data: PersonPeriods<'a>,
    /// Precision and centre of each coefficient, the intercept first.
    precision: Vec<f64>,
    pub(crate) centre: Vec<f64>,
}

impl<'a> Problem<'a> {
    pub(crate) fn new(data: PersonPeriods<'a>, ridge: &Ridge) -> Result<Self, FitError> {
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

    pub(crate) fn surface(&self, beta: &[f64], expected: bool) -> Surface {
        let size = beta.len();
        let slopes = DVector::from_column_slice(beta);
        let mut log_likelihood = 0.0;
        let mut gradient = DVector::zeros(size);
        let mut information = DMatrix::zeros(size, size);
        let counted: Vec<usize> = (0..self.data.rows())
            .filter(|&row| self.data.weight(row) > 0.0)
            .collect();
        // So many rows at a time that they stay in the processor's cache.
        for rows in counted.chunks(ROWS_AT_ONCE) {
            // A column is one of the rows, its first cell the intercept's.
            let mut cells = DMatrix::from_element(size, rows.len(), 1.0);
            for (mut cell, &row) in cells.column_iter_mut().zip(rows) {
                cell.as_mut_slice()[1..].copy_from_slice(self.data.design.row(row));
            }
            let etas = cells.tr_mul(&slopes);
            let mut scores = DVector::zeros(rows.len());
            let mut curved = cells.transpose();
            let mut curvatures = DVector::zeros(rows.len());
            for (at, &row) in rows.iter().enumerate() {
                let weight = self.data.weight(row);
                let eta = etas[at] + self.data.offset(row);
                let point = Point::at(eta, self.data.events[row]);
                log_likelihood += weight * point.log_likelihood;
                scores[at] = weight * point.score;
                let curvature = match expected {
                    true => expected_curvature(eta),
                    false => point.curvature,
                };
                curvatures[at] = weight * curvature;
            }
            for mut column in curved.column_iter_mut() {
                column.component_mul_assign(&curvatures);
            }
            gradient.gemv(1.0, &cells, &scores, 1.0);
            information.gemm(1.0, &cells, &curved, 1.0);
        }
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

    pub(crate) fn penalised(&self, information: &DMatrix<f64>) -> DMatrix<f64> {
        let mut penalised = information.clone();
        for (j, precision) in self.precision.iter().enumerate() {
            penalised[(j, j)] += precision;
        }
        penalised
    }

    /// Coefficients of a constant hazard at the penalty's centre.
    pub(crate) fn start(&self) -> Vec<f64> {
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
