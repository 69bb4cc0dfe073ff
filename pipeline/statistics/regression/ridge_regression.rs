//! Least squares with a ridge penalty.
//!
//! Fails for cells that are not finite, lists that do not pair up and penalties below 0. Scaling the
//! columns is left to the caller.

use nalgebra::{DMatrix, DVector};

use super::design::Design;
use crate::input::{
    FitError, all_finite, all_within, at_least, not_negative, positive, same_length,
};

/// A fitted line through many columns.
#[derive(Debug, Clone, PartialEq)]
pub struct RidgeFit {
    pub intercept: f64,
    pub coefficients: Vec<f64>,
    /// Root mean square of the residuals, by the degrees of freedom the fit left over.
    pub residual_sd: f64,
    pub effective_df: f64,
}

/// Share of a column's own sum of squares below which what is left of it after the others is rounding.
const SINGULAR: f64 = 1e-12;

/// Minimises `sum w (y - a - x'b)^2 + lambda sum b_j^2`; the intercept is free (Hoerl and Kennard,
/// Technometrics 12:55, 1970). Weights are brought to a mean of 1, so that lambda weighs as many
/// rows whatever their scale.
pub fn ridge_regression(
    design: Design,
    answers: &[f64],
    weights: &[f64],
    lambda: f64,
) -> Result<RidgeFit, FitError> {
    let rows = answers.len();
    at_least("rows", rows, 2)?;
    design.check(rows)?;
    all_finite("answer", answers)?;
    same_length("weights", weights.len(), "answers", rows)?;
    all_within("weight", weights, "0 or more", |weight| weight >= 0.0)?;
    let mean_weight = positive("mean weight", weights.iter().sum::<f64>() / rows as f64)?;
    not_negative("lambda", lambda)?;
    let size = design.columns + 1;
    let mut moments = DMatrix::<f64>::zeros(size, size);
    let mut products = DVector::<f64>::zeros(size);
    let mut cells: Vec<(usize, f64)> = Vec::with_capacity(size);
    for (row, answer) in answers.iter().enumerate() {
        let weight = weights[row] / mean_weight;
        cells.clear();
        cells.push((0, 1.0));
        let values = design.row(row).iter().copied().enumerate();
        cells.extend(values.filter(|cell| cell.1 != 0.0).map(|(j, x)| (j + 1, x)));
        for (position, &(j, x)) in cells.iter().enumerate() {
            let weighed = weight * x;
            products[j] += weighed * answer;
            for &(i, other) in &cells[..=position] {
                moments[(i, j)] += weighed * other;
            }
        }
    }
    moments.fill_lower_triangle_with_upper_triangle();
    let mut penalised = moments.clone();
    for j in 1..size {
        penalised[(j, j)] += lambda;
    }
    let factor = penalised.cholesky().ok_or(FitError::Singular {
        what: "ridge regression",
    })?;
    // A column that others make up leaves nothing but rounding of its own in the factor.
    let repeated = (0..size).any(|j| {
        let own = factor.l_dirty()[(j, j)].powi(2);
        own <= SINGULAR * moments[(j, j)]
    });
    if repeated && lambda == 0.0 {
        return Err(FitError::Singular {
            what: "ridge regression",
        });
    }
    let beta = factor.solve(&products);
    let effective_df = (factor.inverse() * &moments).trace();
    let squares: f64 = answers
        .iter()
        .enumerate()
        .map(|(row, answer)| {
            let line: f64 = design
                .row(row)
                .iter()
                .zip(beta.iter().skip(1))
                .map(|(x, b)| x * b)
                .sum();
            weights[row] / mean_weight * (answer - beta[0] - line).powi(2)
        })
        .sum();
    Ok(RidgeFit {
        intercept: beta[0],
        coefficients: beta.iter().skip(1).copied().collect(),
        residual_sd: (squares / (rows as f64 - effective_df).max(1.0)).sqrt(),
        effective_df,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_penalty_it_is_least_squares() {
        // Five points, by hand: mean x 3, mean y 4, slope 0.6, intercept 2.2; residual sum 2.4.
        let x = [1.0, 2.0, 3.0, 4.0, 5.0];
        let y = [2.0, 4.0, 5.0, 4.0, 5.0];
        let design = Design {
            columns: 1,
            values: &x,
        };
        let fit = ridge_regression(design, &y, &[1.0; 5], 0.0).unwrap();
        assert!((fit.intercept - 2.2).abs() < 1e-12);
        assert!((fit.coefficients[0] - 0.6).abs() < 1e-12);
        assert!((fit.residual_sd - (2.4_f64 / 3.0).sqrt()).abs() < 1e-12);
        // With lambda 10, Sxx = 10 becomes 20 and the slope half of it; the means still meet.
        let fit = ridge_regression(design, &y, &[1.0; 5], 10.0).unwrap();
        assert!((fit.coefficients[0] - 0.3).abs() < 1e-12);
        assert!((fit.intercept - (4.0 - 0.9)).abs() < 1e-12);
    }

    #[test]
    fn a_weight_counts_as_so_many_rows() {
        let line = |x: &[f64], y: &[f64], weights: &[f64]| {
            let design = Design {
                columns: 1,
                values: x,
            };
            ridge_regression(design, y, weights, 0.0).unwrap()
        };
        let weighed = line(&[1.0, 2.0, 4.0], &[1.0, 3.0, 2.0], &[2.0, 6.0, 4.0]);
        let repeated = line(
            &[1.0, 2.0, 2.0, 2.0, 4.0, 4.0],
            &[1.0, 3.0, 3.0, 3.0, 2.0, 2.0],
            &[1.0; 6],
        );
        assert!((weighed.intercept - repeated.intercept).abs() < 1e-12);
        assert!((weighed.coefficients[0] - repeated.coefficients[0]).abs() < 1e-12);
    }

    #[test]
    fn columns_that_repeat_each_other_need_a_penalty() {
        let x = [1.0, 1.0, 2.0, 2.0, 3.0, 3.0];
        let design = Design {
            columns: 2,
            values: &x,
        };
        assert!(matches!(
            ridge_regression(design, &[1.0, 2.0, 3.0], &[1.0; 3], 0.0),
            Err(FitError::Singular { .. })
        ));
        let fit = ridge_regression(design, &[1.0, 2.0, 3.0], &[1.0; 3], 0.1).unwrap();
        assert!((fit.coefficients[0] - fit.coefficients[1]).abs() < 1e-9);
    }
}
