//! What ways of foretelling are fitted on.

use super::feature::Feature;
use super::model::BatteryDays;
use super::scaled::Scaling;
use statistics::regression::hazard_regression::HazardFit;

/// What the ways are fitted on.
pub struct Ground<'a> {
    pub features: &'a [Feature],
    pub scaling: &'a [Scaling],
    pub looks: &'a BatteryDays,
    pub cells: Vec<f64>,
    pub horizon_days: f64,
}

impl Ground<'_> {
    pub fn row(&self, look: usize) -> &[f64] {
        let size = self.features.len();
        &self.cells[look * size..(look + 1) * size]
    }

    /// The logarithm of what a fit says a look gathers of the hazard.
    pub fn predictor(&self, fit: &HazardFit, look: usize) -> f64 {
        let line = fit.coefficients.iter().zip(self.row(look));
        fit.intercept + self.looks.offsets[look] + line.map(|(b, x)| b * x).sum::<f64>()
    }
}
