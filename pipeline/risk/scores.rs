//! How well chances and rankings did, over one origin and over all.
//!
//! Batteries replaced as planned or gone with their vehicle within the horizon count by
//! inverse chances of being in sight. Pairs and ranks are compared within an origin, never across.
//! Where origins overlap, limits are wider by the square root of the overlap. What cannot be
//! said (no failures, all alike) is left out.

use chrono::NaiveDate;
use serde::Serialize;

use super::prediction::Prediction;
use statistics::lives::censoring_weight::{Outcome, outcomes_at};
use statistics::scores::brier::brier_score;
use statistics::scores::calibration::calibration;
use statistics::scores::concordance::harrell_c;
use statistics::scores::lift::lift_at;

/// One origin.
#[derive(Debug, Clone, Serialize)]
pub struct OriginScore {
    pub origin: NaiveDate,
    pub batteries: usize,
    pub expected: f64,
    pub failed: usize,
    pub c: Option<f64>,
    pub caught_at_capacity: Option<f64>,
}

/// How a ranking did at the top.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Top {
    pub first: usize,
    /// Share of all failures among the first.
    pub caught: Option<f64>,
    /// Failures among the first over as many drawn by chance.
    pub lift: Option<f64>,
}

/// A value with its 95 % limits.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct WithLimits {
    pub value: f64,
    pub lower: f64,
    pub upper: f64,
}

/// One way of telling, over all origins.
#[derive(Debug, Clone, Serialize)]
pub struct Scores {
    pub name: String,
    pub predictions: usize,
    pub failures: usize,
    pub c: Option<f64>,
    pub top: Vec<Top>,
    pub brier: Option<f64>,
    /// One less the score over that of telling everyone the overall share.
    pub brier_skill: Option<f64>,
    pub expected: Option<f64>,
    pub slope: Option<WithLimits>,
    pub intercept: Option<WithLimits>,
    /// Logarithm of the odds by which all chances together are too low.
    pub in_the_large: Option<WithLimits>,
}

fn outcomes(told: &[Prediction], horizon_days: f64) -> Option<Vec<Outcome>> {
    let days: Vec<f64> = told.iter().map(|one| one.days).collect();
    let failed: Vec<bool> = told.iter().map(|one| one.failed).collect();
    outcomes_at(&days, &failed, horizon_days).ok()
}

fn concordance(told: &[Prediction], scores: &[f64]) -> Option<f64> {
    let days: Vec<f64> = told.iter().map(|one| one.days).collect();
    let failed: Vec<bool> = told.iter().map(|one| one.failed).collect();
    harrell_c(scores, &days, &failed).ok()?.c
}

/// Scores one origin; none without a battery to predict.
pub fn score_origin(
    origin: NaiveDate,
    told: &[Prediction],
    horizon_days: f64,
    capacity: usize,
) -> Option<OriginScore> {
    let chances: Vec<f64> = told.iter().map(|one| one.chance).collect();
    let outcomes = outcomes(told, horizon_days)?;
    let first = capacity.clamp(1, told.len().max(1));
    Some(OriginScore {
        origin,
        batteries: told.len(),
        expected: seen_of(told, |one| one.chance, horizon_days),
        failed: told.iter().filter(|one| one.failed).count(),
        c: concordance(told, &chances),
        caught_at_capacity: lift_at(&chances, &outcomes, first)
            .ok()
            .and_then(|lift| lift.caught),
    })
}

/// Failures to expect in the time each battery was seen.
fn seen_of(told: &[Prediction], chance: impl Fn(&Prediction) -> f64, horizon_days: f64) -> f64 {
    told.iter()
        .map(|one| -(-chance(one).min(0.999_999)).ln_1p() * one.days / horizon_days)
        .sum()
}

/// Scores all origins together.
pub fn score_all(
    name: &str,
    told: &[Prediction],
    value: fn(&Prediction) -> f64,
    is_chance: bool,
    horizon_days: f64,
    capacity: usize,
    widening: f64,
) -> Scores {
    let by_origin: Vec<&[Prediction]> = told.chunk_by(|a, b| a.origin == b.origin).collect();
    let values: Vec<f64> = told.iter().map(value).collect();
    let mut weighed = Vec::with_capacity(told.len());
    let (mut pairs, mut concordant) = (0.0, 0.0);
    for origin in &by_origin {
        let scores: Vec<f64> = origin.iter().map(value).collect();
        let failed = origin.iter().filter(|one| one.failed).count() as f64;
        if let Some(c) = concordance(origin, &scores) {
            // By failures, as each is compared with about as many.
            pairs += failed;
            concordant += failed * c;
        }
        weighed.extend(outcomes(origin, horizon_days).unwrap_or_else(|| {
            let lost = Outcome {
                failed: false,
                weight: 0.0,
            };
            vec![lost; origin.len()]
        }));
    }
    let mut firsts = vec![20, 50, 100, capacity];
    firsts.sort_unstable();
    firsts.dedup();
    let widened = |coefficient: statistics::scores::calibration::Coefficient| WithLimits {
        value: coefficient.value,
        lower: coefficient.value - (coefficient.value - coefficient.limits.lower) * widening,
        upper: coefficient.value + (coefficient.limits.upper - coefficient.value) * widening,
    };
    let inside: Vec<f64> = values.iter().map(|p| p.clamp(1e-9, 1.0 - 1e-9)).collect();
    let fitted = (is_chance && !told.is_empty())
        .then(|| calibration(&inside, &weighed, 0.95).ok())
        .flatten();
    let brier = (is_chance && !told.is_empty())
        .then(|| brier_score(&inside, &weighed).ok())
        .flatten();
    Scores {
        name: name.to_owned(),
        predictions: told.len(),
        failures: told.iter().filter(|one| one.failed).count(),
        c: (pairs > 0.0).then(|| concordant / pairs),
        top: firsts
            .into_iter()
            .map(|first| top(&by_origin, value, horizon_days, first))
            .collect(),
        brier: brier.map(|brier| brier.score),
        brier_skill: brier.and_then(|brier| brier.skill),
        expected: is_chance.then(|| seen_of(told, value, horizon_days)),
        slope: fitted.map(|fitted| widened(fitted.slope)),
        intercept: fitted.map(|fitted| widened(fitted.intercept)),
        in_the_large: fitted.map(|fitted| widened(fitted.in_the_large)),
    }
}

/// The first of every origin, all together.
fn top(
    by_origin: &[&[Prediction]],
    value: fn(&Prediction) -> f64,
    horizon_days: f64,
    first: usize,
) -> Top {
    let (mut caught, mut failed, mut by_chance) = (0.0, 0.0, 0.0);
    for origin in by_origin {
        let scores: Vec<f64> = origin.iter().map(value).collect();
        let Some(outcomes) = outcomes(origin, horizon_days) else {
            continue;
        };
        let all: f64 = outcomes
            .iter()
            .filter(|outcome| outcome.failed)
            .map(|outcome| outcome.weight)
            .sum();
        let taken = first.min(origin.len());
        if let Ok(lift) = lift_at(&scores, &outcomes, taken) {
            caught += lift.caught.unwrap_or(0.0) * all;
            failed += all;
            by_chance += all * taken as f64 / origin.len() as f64;
        }
    }
    Top {
        first,
        caught: (failed > 0.0).then(|| caught / failed),
        lift: (by_chance > 0.0).then(|| caught / by_chance),
    }
}
