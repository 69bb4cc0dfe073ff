//! Every battery's chance of failing within the horizon, and what it comes from.

use std::collections::{BTreeMap, HashMap};

use serde::Deserialize;

use super::expected_health::{self, Expected, HealthSlope, less_mean};
use super::features::{Feature, LOST, Topic, log_lost_slope, of_hazard};
use super::frame::Frame;
use super::model::KeptModel;
use super::reasons::{self, Reason};
use super::scaled::Scaling;
use statistics::InputError;
use statistics::regression::design::Design;

/// One battery's chance.
pub struct Foretold {
    pub row: usize,
    pub chance: f64,
    pub lower: f64,
    pub upper: f64,
    /// The limits were the battery's own wear known: errors of the fit are shared by all batteries, so
    /// these add up over many where the others even out.
    pub fit_lower: f64,
    pub fit_upper: f64,
    pub expected_health: f64,
    pub reasons: Vec<Reason>,
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
    let expected = expected_health::foretell(frame, slopes, horizon_days);
    let features = of_hazard(frame, &expected.lost, horizon_days);
    let rows = frame.current();
    let columns = model.names.len();
    let cells = model.design(&features, &rows);
    let lost_slope = model.lost_slope();
    let mut topics = Topics {
        shares: hazard_shares(&features, model, &rows),
    };
    let of_lost =
        expected_health::shares_of_log_lost(frame, slopes, &expected, &rows, horizon_days);
    topics.add_lost(of_lost, &expected, lost_slope, &rows);
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
        // What is not known of the battery's own wear, in the logarithm of its hazard.
        let own_sd = (lost_slope * log_lost_slope(expected.lost[row]) * expected.sd(row)).abs();
        let chance =
            model
                .fit
                .chance_of_one(Design { columns, values }, Some(&[0.0]), 0.95, own_sd)?;
        let of_fit = model
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
            fit_lower: of_fit.limits.lower,
            fit_upper: of_fit.limits.upper,
            expected_health: expected.health(row),
            reasons: reasons::reasons(frame, row, &topics.of(place), trend),
        });
    }
    Ok(foretold)
}

/// What each topic adds to the predictor, against the average of the rows to be foretold.
struct Topics {
    shares: Vec<(Topic, Vec<f64>)>,
}

/// What the columns beside the lost ability add.
fn hazard_shares(
    features: &[Feature],
    model: &KeptModel,
    rows: &[usize],
) -> Vec<(Topic, Vec<f64>)> {
    features
        .iter()
        .filter(|feature| feature.name != LOST)
        .filter_map(|feature| {
            let at = model.names.iter().position(|name| *name == feature.name)?;
            let slope = model.fit.coefficients[at];
            Some((
                feature.topic,
                from_mean(feature, model.scaling[at], slope, rows),
            ))
        })
        .collect()
}

impl Topics {
    /// Adds what the lost ability is made of. Its column levels off for small losses, and the shares
    /// with it.
    fn add_lost(
        &mut self,
        of_lost: Vec<(Topic, Vec<f64>)>,
        expected: &Expected,
        lost_slope: f64,
        rows: &[usize],
    ) {
        for (topic, values) in of_lost {
            let shares = values
                .into_iter()
                .zip(rows)
                .map(|(value, row)| {
                    let lost = expected.lost[*row];
                    lost_slope * lost.max(0.0) * log_lost_slope(lost) * value
                })
                .collect();
            self.shares.push((topic, shares));
        }
    }

    fn of(&self, place: usize) -> BTreeMap<Topic, f64> {
        let mut shares = BTreeMap::new();
        for (topic, values) in &self.shares {
            *shares.entry(*topic).or_insert(0.0) += values[place];
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
