//! The hazard of a battery over the horizon, fitted to what became of the looks before.
//!
//! One row is one look: whether the battery failed within the horizon, or how long it was watched
//! without. With the complementary log-log link and the logarithm of the watched share as an offset,
//! a look cut short by a planned replacement or by the vehicle leaving counts for what was
//! seen of it: those are competing ends, and the chance is the one if nothing is done. Looks closer
//! together than the horizon overlap; their weights make every battery-week count once.
//!
//! The prior: of batteries down to 60 % of their rating some 2 % fail in eight weeks, of those down to 40 % four times
//! as many (`common practice, no source`), so the hazard rises as the power 4 of lost ability; the level is believed
//! within a factor of two. What strikes the sound as well is parted from it (see `without_warning`). Under `prior_failures` failures the slopes are drawn to it by a fixed penalty; above,
//! grouped cross-validation takes the greatest penalty within one standard error of the best.

use super::feature::{Feature, HEALTH_WHEN_NEW, LOST, log_lost};
use super::frame::{Frame, Number, Word};
use super::scaled::{Scaling, design, learn};
use statistics::FitError;
use statistics::prior::NormalPrior;
use statistics::regression::cross_validation::choose_lambda;
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::{HazardFit, coefficients_from, fit_hazard_from};
use statistics::sample::stable_hash;

/// Chance of failing in eight weeks at 60 % of the rating, for the prior.
const PRIOR_CHANCE: f64 = 0.02;
const PRIOR_DAYS: f64 = 56.0;
const PRIOR_HEALTH: f64 = 0.6;
/// Standard deviation of the prior's level, in the logarithm.
const PRIOR_SD: f64 = 0.7;

const PRIOR_RIDGE: f64 = 3_000.0;
const RIDGES: [f64; 5] = [3_000.0, 1_000.0, 300.0, 100.0, 30.0];
const FOLDS: usize = 5;

/// Names the model, so that what was said by another one is told apart.
pub const MODEL_VERSION: &str = "pooled-ways-6";

/// What a fit is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    pub horizon_days: f64,
    pub ridge: Option<f64>,
    pub prior_failures: usize,
}

/// A fitted model with its scales.
pub struct Model {
    pub names: Vec<(String, String)>,
    pub scaling: Vec<Scaling>,
    pub fit: HazardFit,
    pub ridge: f64,
    /// How much of what is known about the level of the hazard comes from the prior.
    pub prior_weight: f64,
    pub failures: usize,
    pub battery_weeks: f64,
    /// What stands in the place of a fit that found no answer.
    pub fallback: Option<String>,
}

/// The rows a fit is made on, as statistics wants them.
pub struct BatteryDays {
    pub rows: Vec<usize>,
    /// The day each was made, in days since 1970.
    pub known_days: Vec<f64>,
    pub events: Vec<bool>,
    pub weights: Vec<f64>,
    pub offsets: Vec<f64>,
    groups: Vec<u64>,
}

impl BatteryDays {
    pub fn new(frame: &Frame, horizon_days: f64) -> Self {
        let rows = frame.watched();
        let column = |name: Number| -> Vec<f64> {
            rows.iter().map(|row| frame.number(name, *row)).collect()
        };
        Self {
            events: rows.iter().map(|row| frame.failed_then[*row]).collect(),
            known_days: column(Number::KnownDay),
            weights: column(Number::Weight),
            offsets: column(Number::WatchedDays)
                .iter()
                .map(|days| (days.max(1.0) / horizon_days).ln())
                .collect(),
            groups: rows
                .iter()
                .map(|row| stable_hash(frame.word(Word::Vin, *row).unwrap_or_default().as_bytes()))
                .collect(),
            rows,
        }
    }

    /// Weeks of service they stand for, all batteries together.
    pub(super) fn battery_weeks(&self, frame: &Frame) -> f64 {
        self.rows
            .iter()
            .map(|row| {
                frame.number(Number::Weight, *row) * frame.number(Number::WatchedDays, *row) / 7.0
            })
            // Begun at 0, since the sum of nothing is -0.
            .fold(0.0, |sum, weeks| sum + weeks)
    }

    /// How much of what is known about the level of the hazard comes from the prior.
    pub(super) fn prior_weight(&self) -> f64 {
        // A failure tells the logarithm of the level with a precision of one.
        let failed_weight: f64 = self
            .events
            .iter()
            .zip(&self.weights)
            .map(|(failed, weight)| if *failed { *weight } else { 0.0 })
            .sum();
        let level_precision = 1.0 / (PRIOR_SD * PRIOR_SD);
        level_precision / (level_precision + failed_weight)
    }
}

/// Fits the hazard of the given columns. Where that has no answer, simpler ones stand in its place.
pub fn fit(frame: &Frame, features: &[Feature], wanted: Wanted) -> Model {
    let looks = BatteryDays::new(frame, wanted.horizon_days);
    // Where nothing was watched yet, the prior needs the scale of those to be foretold.
    let scaling = match looks.rows.is_empty() {
        true => learn(features, &frame.current()),
        false => learn(features, &looks.rows),
    };
    let cells = design(features, &scaling, &looks.rows);
    let data = PersonPeriods {
        design: Design {
            columns: features.len(),
            values: &cells,
        },
        events: &looks.events,
        weights: Some(&looks.weights),
        offsets: Some(&looks.offsets),
    };
    let failures = failed_batteries(frame, &looks);
    let all: Vec<&Feature> = features.iter().collect();
    let mut ridge = prior(&all, &scaling, wanted.horizon_days);
    ridge.lambda = match wanted.ridge {
        Some(lambda) => lambda,
        None if failures < wanted.prior_failures.max(1) => PRIOR_RIDGE,
        None => choose_lambda(&data, &looks.groups, FOLDS, &RIDGES, &ridge)
            .map_or(PRIOR_RIDGE, |chosen| chosen.simplest),
    };
    let (fit, fallback) = if looks.rows.is_empty() {
        (nothing_seen(&ridge), None)
    } else {
        fit_or_simpler(&data, &mut ridge, None)
    };
    Model {
        names: features
            .iter()
            .map(|feature| (feature.name.clone(), feature.about.clone()))
            .collect(),
        prior_weight: looks.prior_weight(),
        ridge: ridge.lambda,
        failures,
        battery_weeks: looks.battery_weeks(frame),
        scaling,
        fit,
        fallback,
    }
}

/// The fit; where it finds no answer one closer to the prior, at last the prior itself, and why.
pub(super) fn fit_or_simpler(
    data: &PersonPeriods,
    ridge: &mut Ridge,
    start: Option<&[f64]>,
) -> (HazardFit, Option<String>) {
    let fit = |ridge: &Ridge| fit_hazard_from(data, ridge, start);
    or_simpler(fit, ridge, nothing_seen)
}

/// Likewise its coefficients alone, the intercept first.
pub(super) fn line_or_simpler(
    data: &PersonPeriods,
    ridge: &mut Ridge,
    start: Option<&[f64]>,
) -> Vec<f64> {
    let line = |ridge: &Ridge| coefficients_from(data, ridge, start);
    or_simpler(line, ridge, |ridge| nothing_seen(ridge).line()).0
}

fn or_simpler<T>(
    fit: impl Fn(&Ridge) -> Result<T, FitError>,
    ridge: &mut Ridge,
    prior_alone: impl Fn(&Ridge) -> T,
) -> (T, Option<String>) {
    let mut fallback = None;
    for _ in 0..3 {
        match fit(ridge) {
            Ok(fit) => return (fit, fallback),
            Err(error) => {
                fallback = Some(format!("the hazard drawn harder to the prior: {error}"));
                ridge.lambda = (10.0 * ridge.lambda).max(PRIOR_RIDGE);
            }
        }
    }
    let why = fallback.unwrap_or_default();
    (
        prior_alone(ridge),
        Some(format!("the prior alone, in place of {why}")),
    )
}

/// What is believed of a worn battery's horizon before any failure is seen, as a hazard.
pub(super) fn usual_hazard(horizon_days: f64) -> f64 {
    -(-PRIOR_CHANCE).ln_1p() * horizon_days / PRIOR_DAYS
}

/// The prior in terms of the scaled columns.
pub(super) fn prior(features: &[&Feature], scaling: &[Scaling], horizon_days: f64) -> Ridge {
    let mut level = usual_hazard(horizon_days).ln();
    let leading = features.iter().zip(scaling).find(|(f, _)| f.name == LOST);
    if let Some((feature, scaling)) = leading {
        level += feature.centre * (scaling.mean - log_lost(HEALTH_WHEN_NEW - PRIOR_HEALTH));
    }
    Ridge {
        lambda: PRIOR_RIDGE,
        factors: features.iter().map(|feature| feature.factor).collect(),
        centre: features
            .iter()
            .zip(scaling)
            .map(|(feature, scaling)| feature.centre * scaling.spread())
            .collect(),
        intercept: Some(NormalPrior {
            mean: level,
            sd: PRIOR_SD,
        }),
    }
}

/// The prior alone, where no look is over yet.
pub(super) fn nothing_seen(ridge: &Ridge) -> HazardFit {
    let size = ridge.centre.len() + 1;
    let mut covariance = vec![0.0; size * size];
    covariance[0] = PRIOR_SD * PRIOR_SD;
    for (j, factor) in ridge.factors.iter().enumerate() {
        covariance[(j + 1) * (size + 1)] = 1.0 / (factor * ridge.lambda);
    }
    HazardFit {
        intercept: ridge.intercept.map_or(0.0, |level| level.mean),
        coefficients: ridge.centre.clone(),
        covariance,
        log_likelihood: 0.0,
        penalised_log_likelihood: 0.0,
        effective_df: 0.0,
        rows: 0,
        events: 0,
        iterations: 0,
    }
}

pub(super) fn failed_batteries(frame: &Frame, looks: &BatteryDays) -> usize {
    let mut failed: Vec<(&str, &str, i64)> = looks
        .rows
        .iter()
        .filter(|row| frame.failed_then[**row])
        .map(|row| {
            (
                frame.word(Word::Vin, *row).unwrap_or_default(),
                frame.word(Word::Position, *row).unwrap_or_default(),
                frame.number(Number::BatteryNo, *row) as i64,
            )
        })
        .collect();
    failed.sort_unstable();
    failed.dedup();
    failed.len()
}
