//! Every battery's chance of failing within the horizon, and what it comes from.

use std::collections::{BTreeMap, HashMap};

use serde::Deserialize;

use super::cold::{OUTLOOKS, OWN_MORNING_SD_C, Outlook, of_cold, sd_ahead};
use super::expected_health::{self, Expected, HealthSlope, less_mean};
use super::feature::{Feature, LOST, Topic, log_lost_slope};
use super::features::of_hazard;
use super::frame::{Frame, Number, Word};
use super::reasons::{self, Reason};
use super::scaled::Scaling;
use super::stored_model::StoredModel;
use super::together::together;
use super::wear_power::WearSlopes;
use statistics::InputError;
use statistics::limits::Limits;
use statistics::regression::design::Design;

/// Deviations of the logarithm of a hazard beyond this say no more than that nothing is known.
const MOST_SD: f64 = 3.0;

/// How far batteries differ, in the logarithm, in what strikes them without warning: by make, mounting, shaking.
/// `common practice, no source`
const OWN_ALIKE_SD: f64 = 0.7;

/// Batteries that a thread foretells at once.
const AT_ONCE: usize = 1_000;

/// One battery's chance.
pub struct Predicted {
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
pub struct StoredTrend {
    pub vin: String,
    pub position: String,
    pub battery_no: i64,
    pub health_per_year: Option<f64>,
}

/// The chances of the rows to be foretold.
pub fn predict(
    frame: &Frame,
    slopes: &[HealthSlope],
    model: &StoredModel,
    trends: &[StoredTrend],
    horizon_days: f64,
) -> Result<Vec<Predicted>, InputError> {
    let expected = expected_health::predict(frame, slopes, horizon_days);
    let rows = frame.current();
    let columns = model.names.len();
    // Under another outlook of the coldest morning only the columns of cold are others; reasons are told of the
    // middle one.
    let middle = Outlook::MayCome(OUTLOOKS[OUTLOOKS.len() / 2]);
    let features = of_hazard(frame, &expected.lost, middle, horizon_days);
    let colds =
        OUTLOOKS.map(|deviations| of_cold(frame, &expected.lost, Outlook::MayCome(deviations)));
    let outlooks = colds.each_ref().map(|cold| model.columns(cold, &features));
    let offsets = [-(OUTLOOKS.len() as f64).ln(); OUTLOOKS.len()];
    let lost_slope = model.lost_slope();
    let wear_slopes = WearSlopes::of(model);
    let mut topics = Topics::default();
    topics.add_columns(&features, model, &rows);
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
    let [alike, fit_alike_lower, fit_alike_upper] = model.alike.limits(0.0);
    let [_, alike_lower, alike_upper] = model.alike.limits(OWN_ALIKE_SD);
    let foretell = |place: usize, row: usize| {
        let values: Vec<f64> = outlooks
            .iter()
            .flat_map(|columns| model.scaled(columns, row))
            .collect();
        let periods = Design {
            columns,
            values: &values,
        };
        // What is not known of the battery's own wear, and of the morning it fails on, in the logarithm of
        // its hazard.
        let power = wear_slopes.power(frame, row).worn;
        let own_wear = power * log_lost_slope(expected.lost[row]) * expected.sd(row);
        let own_sd = own_wear.hypot(own_morning(frame, row, model, periods)?);
        let chance = model
            .fit
            .chance_of_one(periods, Some(&offsets), 0.95, own_sd)?;
        let of_fit = model.fit.chance(periods, Some(&offsets), 0.95)?;
        let (lower, upper) = mean_kept(chance.limits, own_sd);
        let either = |chance: f64, alike: f64| 1.0 - (1.0 - chance) * (1.0 - alike);
        let key = (
            frame.word(Word::Vin, row).unwrap_or_default(),
            frame.word(Word::Position, row).unwrap_or_default(),
            frame.number(Number::BatteryNo, row) as i64,
        );
        let trend = trends.get(&key).copied().flatten();
        Ok(Predicted {
            row,
            chance: either(chance.chance, alike),
            lower: either(lower.min(of_fit.limits.lower), alike_lower),
            upper: either(upper.max(of_fit.limits.upper), alike_upper),
            fit_lower: either(of_fit.limits.lower, fit_alike_lower),
            fit_upper: either(of_fit.limits.upper, fit_alike_upper),
            expected_health: expected.health(row),
            reasons: reasons::reasons(frame, row, &topics.of(place), trend),
        })
    };
    let places: Vec<(usize, usize)> = rows.iter().copied().enumerate().collect();
    let parts: Vec<&[(usize, usize)]> = places.chunks(AT_ONCE).collect();
    let parts = together(&parts, |part| {
        let each = part.iter().map(|(place, row)| foretell(*place, *row));
        each.collect::<Result<Vec<_>, InputError>>()
    });
    let mut foretold = Vec::with_capacity(rows.len());
    for part in parts {
        foretold.extend(part?);
    }
    Ok(foretold)
}

/// Limits of a log-normal quantity about its middle, moved so that its mean is the chance told: of batteries
/// alike on record a few fail far likelier than told and most less.
fn mean_kept(limits: Limits, own_sd: f64) -> (f64, f64) {
    let moved = |chance: f64| {
        let gathered = -(-chance.min(1.0 - 1e-12)).ln_1p();
        -(-gathered * (-0.5 * own_sd * own_sd).exp()).exp_m1()
    };
    (moved(limits.lower), moved(limits.upper))
}

/// Standard deviation of the logarithm of the hazard for not knowing which morning is too cold for the
/// battery: great where the hazard hangs on the cold, and nothing where it does not.
fn own_morning(
    frame: &Frame,
    row: usize,
    model: &StoredModel,
    outlooks: Design,
) -> Result<f64, InputError> {
    let apart_c = (OUTLOOKS[OUTLOOKS.len() - 1] - OUTLOOKS[0]) * sd_ahead(frame, row);
    let warm = model
        .fit
        .linear_predictor(outlooks.row(OUTLOOKS.len() - 1))?;
    let cold = model.fit.linear_predictor(outlooks.row(0))?;
    let sd = (cold - warm).abs() / apart_c * OWN_MORNING_SD_C;
    Ok(if sd.is_finite() { sd.min(MOST_SD) } else { 0.0 })
}

/// What each topic adds to the predictor, against the average of the rows to be foretold.
#[derive(Default)]
struct Topics(BTreeMap<Topic, Vec<f64>>);

impl Topics {
    /// Adds what the columns beside the lost ability add.
    fn add_columns(&mut self, features: &[Feature], model: &StoredModel, rows: &[usize]) {
        for feature in features.iter().filter(|feature| feature.name != LOST) {
            if let Some(at) = model.names.iter().position(|name| *name == feature.name) {
                let slope = model.fit.coefficients[at];
                let share = from_mean(feature, model.scaling[at], slope, rows);
                self.add(feature.topic, share);
            }
        }
    }

    /// Adds what the lost ability is made of. Its column levels off for small losses, and the shares
    /// with it.
    fn add_lost(
        &mut self,
        of_lost: Vec<(Topic, Vec<f64>)>,
        expected: &Expected,
        lost_slope: f64,
        rows: &[usize],
    ) {
        for (topic, mut share) in of_lost {
            for (value, row) in share.iter_mut().zip(rows) {
                let lost = expected.lost[*row];
                *value *= lost_slope * lost.max(0.0) * log_lost_slope(lost);
            }
            self.add(topic, share);
        }
    }

    fn add(&mut self, topic: Topic, share: Vec<f64>) {
        let sums = self
            .0
            .entry(topic)
            .or_insert_with(|| vec![0.0; share.len()]);
        for (sum, value) in sums.iter_mut().zip(share) {
            *sum += value;
        }
    }

    fn of(&self, place: usize) -> BTreeMap<Topic, f64> {
        let shares = self.0.iter();
        shares.map(|(topic, sums)| (*topic, sums[place])).collect()
    }
}

fn from_mean(feature: &Feature, scaling: Scaling, slope: f64, rows: &[usize]) -> Vec<f64> {
    less_mean(
        rows.iter()
            .map(|row| slope * scaling.apply(feature.values[*row]))
            .collect(),
    )
}
