//! Columns brought to a common scale, so that one penalty is fair to all.
//!
//! The scale is learnt from the rows a fit is made on and kept with it. Of a column without spread in
//! those rows nothing was learnt, so it says nothing of other rows either; a value that is not known
//! becomes the average, and one far outside what was seen counts as its edge.

use super::feature::{Feature, Scale};

/// Stands for the deviation of a column without spread.
const NO_SPREAD: f64 = 1e12;

/// Scaled values end here.
const FARTHEST: f64 = 8.0;

/// How one column is scaled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scaling {
    pub mean: f64,
    pub deviation: f64,
}

impl Scaling {
    /// The deviation; 0 of a column without spread.
    pub fn spread(self) -> f64 {
        if self.deviation < NO_SPREAD {
            self.deviation
        } else {
            0.0
        }
    }

    pub fn apply(self, value: f64) -> f64 {
        if value.is_finite() {
            ((value - self.mean) / self.deviation).clamp(-FARTHEST, FARTHEST)
        } else {
            0.0
        }
    }
}

/// The scale of each column over the given rows.
pub fn learn(features: &[Feature], rows: &[usize]) -> Vec<Scaling> {
    features
        .iter()
        .map(|feature| {
            let values: Vec<f64> = rows
                .iter()
                .map(|row| feature.values[*row])
                .filter(|value| value.is_finite())
                .collect();
            let values = within_reach(values);
            let count = (values.len() as f64).max(1.0);
            let mean = values.iter().sum::<f64>() / count;
            let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count;
            let deviation = if variance > 1e-12 {
                variance.sqrt()
            } else {
                NO_SPREAD
            };
            match feature.scale {
                Scale::Centred => Scaling { mean, deviation },
                Scale::Spread => Scaling {
                    mean: 0.0,
                    deviation,
                },
                Scale::By(deviation) => Scaling {
                    mean: 0.0,
                    deviation,
                },
                Scale::Flag => Scaling {
                    mean: 0.0,
                    deviation: 1.0,
                },
            }
        })
        .collect()
}

/// The values with those far outside what nearly all are set to the edge, so that one wrong cell does not
/// set the scale of a column.
fn within_reach(mut values: Vec<f64>) -> Vec<f64> {
    let place = values.len() / 200;
    if values.len() < 3 {
        return values;
    }
    let mut sorted = values.clone();
    let (_, low, _) = sorted.select_nth_unstable_by(place, f64::total_cmp);
    let low = *low;
    let last = values.len() - 1 - place;
    let (_, high, _) = sorted.select_nth_unstable_by(last, f64::total_cmp);
    let reach = FARTHEST * (*high - low);
    // A column that is nearly always the same has its say in the few rows where it is not.
    if reach > 0.0 {
        let (least, most) = (low - reach, *high + reach);
        values
            .iter_mut()
            .for_each(|value| *value = value.clamp(least, most));
    }
    values
}

/// The scaled columns of the given rows, row by row.
pub fn design(features: &[Feature], scaling: &[Scaling], rows: &[usize]) -> Vec<f64> {
    let mut cells = Vec::with_capacity(features.len() * rows.len());
    for &row in rows {
        for (feature, scaling) in features.iter().zip(scaling) {
            cells.push(scaling.apply(feature.values[row]));
        }
    }
    cells
}
