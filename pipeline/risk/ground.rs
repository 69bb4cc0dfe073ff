//! What ways of foretelling are fitted on.

use super::feature::Feature;
use super::model::BatteryDays;
use super::scaled::Scaling;

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

    /// The logarithm of what a fit's coefficients, the intercept first, say a look gathers of the hazard.
    pub fn predictor(&self, line: &[f64], look: usize) -> f64 {
        let slopes = line[1..].iter().zip(self.row(look));
        line[0] + self.looks.offsets[look] + slopes.map(|(b, x)| b * x).sum::<f64>()
    }
}
