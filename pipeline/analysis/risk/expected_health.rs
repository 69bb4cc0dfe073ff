//! The health a test today would show, fitted to the tests that followed.
//!
//! Tests are many and failures few, so what age, heat, earlier tests and trouble do to a battery is
//! learnt from tests; the hazard then needs few columns. The fit is of the difference to what age
//! and chemistry alone would say, drawn to none: without tests that is what is left. Rows whose
//! next test came within the horizon are fitted.

use serde::Deserialize;

use super::features::{age_years, of_health, prior_health};
use super::frame::Frame;
use super::scaled::{Scaling, design, learn};
use crate::statistics::FitError;
use crate::statistics::hazard_regression::Design;
use crate::statistics::ridge_regression::ridge_regression;

/// Squared deviations per slope that the penalty weighs as much as a row.
const RIDGE: f64 = 10.0;

/// Fewer tests than this are not fitted: the prior stands.
const FEWEST_TESTS: usize = 20;

/// Standard deviation of a test about the prior, where nothing could be fitted. `common practice, no
/// source`
const PRIOR_SD: f64 = 0.15;

/// One slope, the intercept first; the slopes are of scaled columns.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct HealthSlope {
    pub feature: String,
    pub about: String,
    pub coefficient: f64,
    pub mean: f64,
    pub deviation: f64,
    /// Standard deviation of a test about the line, the same on every row.
    pub residual_sd: f64,
    pub tests: i64,
}

/// Fits the expected health.
pub fn fit(frame: &Frame, horizon_days: f64) -> Result<Vec<HealthSlope>, FitError> {
    let features = of_health(frame, horizon_days);
    let rows: Vec<usize> = (0..frame.rows)
        .filter(|row| {
            frame.number("next_health", *row).is_finite() && frame.number("weight", *row) > 0.0
        })
        .collect();
    let scaling = learn(&features, &rows);
    let answers: Vec<f64> = rows
        .iter()
        .map(|row| frame.number("next_health", *row) - prior(frame, *row, horizon_days))
        .collect();
    // Looks before a failure are all drawn, the others in part: weights make the tests those of the fleet.
    let weights: Vec<f64> = rows
        .iter()
        .map(|row| frame.number("weight", *row))
        .collect();
    let (intercept, slopes, residual_sd) = if rows.len() < FEWEST_TESTS {
        (0.0, vec![0.0; features.len()], PRIOR_SD)
    } else {
        let cells = design(&features, &scaling, &rows);
        let columns = features.len();
        let design = Design {
            columns,
            values: &cells,
        };
        let line = ridge_regression(design, &answers, &weights, RIDGE)?;
        (line.intercept, line.coefficients, line.residual_sd)
    };
    let row = |feature: &str, about: &str, coefficient: f64, scaling: Scaling| HealthSlope {
        feature: feature.to_owned(),
        about: about.to_owned(),
        coefficient,
        mean: scaling.mean,
        deviation: scaling.deviation,
        residual_sd,
        tests: rows.len() as i64,
    };
    let unscaled = Scaling {
        mean: 0.0,
        deviation: 1.0,
    };
    let about = "health beyond what age and chemistry say, all else average";
    let mut fitted = vec![row("intercept", about, intercept, unscaled)];
    for ((feature, slope), scaling) in features.iter().zip(slopes).zip(scaling) {
        fitted.push(row(&feature.name, &feature.about, slope, scaling));
    }
    Ok(fitted)
}

/// What age and chemistry alone say of a row's battery.
pub fn prior(frame: &Frame, row: usize, horizon_days: f64) -> f64 {
    prior_health(
        age_years(frame, row, horizon_days),
        frame.word("chemistry", row),
    )
}

/// The expected health of every row.
pub fn foretell(frame: &Frame, fitted: &[HealthSlope], horizon_days: f64) -> Vec<f64> {
    let intercept = fitted
        .iter()
        .find(|slope| slope.feature == "intercept")
        .map_or(0.0, |slope| slope.coefficient);
    let mut health = frame.map(|row| intercept + prior(frame, row, horizon_days));
    for feature in of_health(frame, horizon_days) {
        let Some(slope) = fitted.iter().find(|slope| slope.feature == feature.name) else {
            continue;
        };
        let scaling = Scaling {
            mean: slope.mean,
            deviation: slope.deviation,
        };
        for (health, value) in health.iter_mut().zip(&feature.values) {
            *health += slope.coefficient * scaling.apply(*value);
        }
    }
    health
}
