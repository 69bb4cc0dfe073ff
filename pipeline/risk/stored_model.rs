//! The fitted model as its table keeps it, and the columns of rows to be foretold by it.

use serde::Deserialize;

use super::feature::{Feature, LOST};
use super::scaled::Scaling;
use super::ways::Pooled;
use super::without_warning::Alike;
use statistics::regression::hazard_regression::HazardFit;

/// One coefficient as the table model_fit keeps it, the intercept first.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredCoefficient {
    pub feature: String,
    pub coefficient: f64,
    pub mean: f64,
    pub deviation: f64,
    /// Of the whole model, the same for each.
    pub alike_hazard: f64,
    pub alike_log_sd: f64,
    /// The coefficient's covariances with all, in the same order.
    pub covariances: Vec<f64>,
}

/// The fit as it was kept.
pub struct StoredModel {
    pub names: Vec<String>,
    pub scaling: Vec<Scaling>,
    pub fit: HazardFit,
    pub alike: Alike,
}

impl StoredModel {
    pub fn new(kept: &[StoredCoefficient]) -> Self {
        let slopes = kept.get(1..).unwrap_or_default();
        Self {
            names: slopes.iter().map(|slope| slope.feature.clone()).collect(),
            scaling: slopes
                .iter()
                .map(|slope| Scaling {
                    mean: slope.mean,
                    deviation: slope.deviation,
                })
                .collect(),
            fit: HazardFit {
                intercept: kept.first().map_or(0.0, |level| level.coefficient),
                coefficients: slopes.iter().map(|slope| slope.coefficient).collect(),
                covariance: kept
                    .iter()
                    .flat_map(|row| row.covariances.iter().copied())
                    .collect(),
                log_likelihood: 0.0,
                penalised_log_likelihood: 0.0,
                effective_df: 0.0,
                rows: 0,
                events: 0,
                iterations: 0,
            },
            alike: Alike {
                hazard: kept.first().map_or(0.0, |level| level.alike_hazard),
                log_sd: kept.first().map_or(0.0, |level| level.alike_log_sd),
            },
        }
    }

    /// A fit that nobody kept, of columns of these names.
    pub fn unkept(names: Vec<String>, pooled: Pooled) -> Self {
        Self {
            names,
            scaling: pooled.scaling,
            fit: pooled.fit,
            alike: pooled.alike,
        }
    }

    /// Slope of a column as it is, unscaled; nothing of one that is not there.
    pub fn slope(&self, name: &str) -> f64 {
        let at = self.names.iter().position(|known| known == name);
        at.map_or(0.0, |at| {
            self.fit.coefficients[at] / self.scaling[at].deviation
        })
    }

    /// The power of the (levelled) lost ability that the hazard goes with in weeks that are not cold.
    pub fn lost_slope(&self) -> f64 {
        self.slope(LOST)
    }

    /// The columns in the order of the coefficients, of those first and else of these; one that is in neither is
    /// not there.
    pub fn columns<'f>(
        &self,
        first: &'f [Feature],
        else_of: &'f [Feature],
    ) -> Vec<Option<&'f Feature>> {
        let named = |name: &String| {
            let mut all = first.iter().chain(else_of);
            all.find(|feature| feature.name == *name)
        };
        self.names.iter().map(named).collect()
    }

    /// Those columns of a row, scaled; one that is not there is 0.
    pub fn scaled(&self, columns: &[Option<&Feature>], row: usize) -> impl Iterator<Item = f64> {
        let pairs = columns.iter().zip(&self.scaling);
        pairs.map(move |(column, scaling)| {
            column.map_or(0.0, |feature| scaling.apply(feature.values[row]))
        })
    }
}
