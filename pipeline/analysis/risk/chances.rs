//! Every battery's chance of failing within the horizon, and what it comes from.

use std::collections::{BTreeMap, HashMap};

use serde::Deserialize;

use super::expected_health::{self, HealthSlope};
use super::features::{Feature, HEALTH_WHEN_NEW, LOST, Topic, lost, of_hazard, of_health};
use super::frame::Frame;
use super::model::KeptModel;
use super::reasons;
use super::scaled::Scaling;
use crate::statistics::InputError;
use crate::statistics::hazard_regression::Design;

/// One battery's chance.
pub struct Foretold {
    pub row: usize,
    pub chance: f64,
    pub lower: f64,
    pub upper: f64,
    pub expected_health: f64,
    pub reasons: Vec<String>,
}

/// A battery's trend, where three tests or more show one.
#[derive(Debug, Deserialize)]
pub struct KeptTrend {
    pub vin: String,
    pub position: String,
    pub battery_no: i64,
    pub health_per_year: Option<f64>,
}

/// The chances of the rows to be foretold.
pub fn foretell(
    frame: &Frame,
    slopes: &[HealthSlope],
    model: &KeptModel,
    trends: &[KeptTrend],
    horizon_days: f64,
) -> Result<Vec<Foretold>, InputError> {
    let health = expected_health::foretell(frame, slopes, horizon_days);
    let features = of_hazard(frame, &health, horizon_days);
    let rows = frame.current();
    let columns = model.names.len();
    let cells = model.design(&features, &rows);
    let topics = Topics::new(
        frame,
        &rows,
        &features,
        &health,
        slopes,
        model,
        horizon_days,
    );
    let trends: HashMap<(&str, &str, i64), Option<f64>> = trends
        .iter()
        .map(|trend| {
            let key = (
                trend.vin.as_str(),
                trend.position.as_str(),
                trend.battery_no,
            );
            (key, trend.health_per_year)
        })
        .collect();
    let mut foretold = Vec::with_capacity(rows.len());
    for (place, &row) in rows.iter().enumerate() {
        let values = &cells[place * columns..(place + 1) * columns];
        let chance = model
            .fit
            .chance(Design { columns, values }, Some(&[0.0]), 0.95)?;
        let key = (
            frame.word("vin", row).unwrap_or_default(),
            frame.word("position", row).unwrap_or_default(),
            frame.number("battery_no", row) as i64,
        );
        let trend = trends.get(&key).copied().flatten();
        foretold.push(Foretold {
            row,
            chance: chance.chance,
            lower: chance.limits.lower,
            upper: chance.limits.upper,
            expected_health: health[row],
            reasons: reasons::in_words(frame, row, &topics.of(place), trend),
        });
    }
    Ok(foretold)
}

/// What each topic adds to the predictors, against the average of the rows to be foretold.
struct Topics {
    hazard: Vec<(Topic, Vec<f64>)>,
    health: Vec<(Topic, Vec<f64>)>,
    lost_slope: f64,
    expected: Vec<f64>,
    mean_expected: f64,
    mean_lost: f64,
}

impl Topics {
    fn new(
        frame: &Frame,
        rows: &[usize],
        features: &[Feature],
        health: &[f64],
        slopes: &[HealthSlope],
        model: &KeptModel,
        horizon_days: f64,
    ) -> Self {
        let mut lost_slope = 0.0;
        let mut hazard = Vec::new();
        for feature in features {
            let Some(at) = model.names.iter().position(|name| *name == feature.name) else {
                continue;
            };
            let slope = model.fit.coefficients[at];
            if feature.name == LOST {
                lost_slope = slope / model.scaling[at].deviation;
            } else {
                hazard.push((
                    feature.topic,
                    from_mean(feature, model.scaling[at], slope, rows),
                ));
            }
        }
        let mut of_tests = Vec::new();
        for feature in of_health(frame, horizon_days) {
            if let Some(slope) = slopes.iter().find(|slope| slope.feature == feature.name) {
                let scaling = Scaling {
                    mean: slope.mean,
                    deviation: slope.deviation,
                };
                let values = from_mean(&feature, scaling, slope.coefficient, rows);
                of_tests.push((feature.topic, values));
            }
        }
        let prior: Vec<f64> = rows
            .iter()
            .map(|row| expected_health::prior(frame, *row, horizon_days))
            .collect();
        of_tests.push((Topic::Age, less_mean(prior)));
        let expected: Vec<f64> = rows.iter().map(|row| health[*row]).collect();
        Self {
            hazard,
            health: of_tests,
            lost_slope,
            mean_expected: mean(&expected),
            mean_lost: mean(
                &expected
                    .iter()
                    .map(|health| lost(*health))
                    .collect::<Vec<_>>(),
            ),
            expected,
        }
    }

    fn of(&self, place: usize) -> BTreeMap<Topic, f64> {
        let mut shares = BTreeMap::new();
        for (topic, values) in &self.hazard {
            *shares.entry(*topic).or_insert(0.0) += values[place];
        }
        // The logarithm of the loss is not a sum, so its difference is shared out in proportion.
        let health = self.expected[place];
        let off = health - self.mean_expected;
        let steepness = if off.abs() > 1e-6 {
            ((lost(health) - self.mean_lost) / off).min(0.0)
        } else {
            -1.0 / (HEALTH_WHEN_NEW - health).max(0.05)
        };
        for (topic, values) in &self.health {
            *shares.entry(*topic).or_insert(0.0) += self.lost_slope * steepness * values[place];
        }
        shares
    }
}

fn from_mean(feature: &Feature, scaling: Scaling, slope: f64, rows: &[usize]) -> Vec<f64> {
    less_mean(
        rows.iter()
            .map(|row| slope * scaling.apply(feature.values[*row]))
            .collect(),
    )
}

fn less_mean(values: Vec<f64>) -> Vec<f64> {
    let mean = mean(&values);
    values.iter().map(|value| value - mean).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / (values.len() as f64).max(1.0)
}
