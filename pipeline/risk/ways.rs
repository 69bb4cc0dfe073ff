//! Several ways of foretelling, weighed by what came.
//!
//! Each way is a hazard of some of the columns. They are fitted on the looks before a day and tried on
//! those of the quarter after it, four times over the last year; the weights, none negative and one in sum,
//! are those under which the failures that came were the likeliest, drawn to the way of wear and cold as
//! long as few came. What is pooled are the logarithms of the hazards, so that the pooled model is again a
//! sum over columns and a reason its share of it. The same trials tell whether all chances were too high or
//! too low, and the level is put right by that, drawn to none.
//!
//! A way that cannot be fitted is left out; where none can, the prior stands. So this always ends.

use super::cold::{COLD, WARMING};
use super::drawn::{Drawn, FEW_COLUMNS_PENALTY};
use super::feature::{Feature, LAST_TEST, LOST};
use super::features::{DISCHARGED_LAST, DISCHARGED_LOST, HEAT_AHEAD, HEAT_BEHIND};
use super::frame::Frame;
use super::ground::Ground;
use super::learnt::{Learnt, foretold, parted};
use super::model::{BatteryDays, failed_batteries};
use super::penalties;
use super::scaled::{Scaling, design, learn};
use super::together::together;
use super::trials::{Trials, Try};
use super::without_warning::Alike;
use statistics::regression::hazard_regression::HazardFit;

/// A way of foretelling: which columns it looks at.
struct Way {
    name: &'static str,
    /// Weight before trials tell.
    usual: f64,
    looks_at: fn(&Feature) -> bool,
}

const SEASON: [&str; 4] = [COLD, WARMING, HEAT_AHEAD, HEAT_BEHIND];

/// Of batteries whose last test found them discharged.
const FLAT: [&str; 2] = [DISCHARGED_LAST, DISCHARGED_LOST];

fn is_of(feature: &Feature, names: &[&str]) -> bool {
    names.contains(&feature.name.as_str())
}

const WAYS: [Way; 5] = [
    Way {
        name: "all signs",
        usual: 0.3,
        looks_at: |feature| feature.name != LAST_TEST,
    },
    Way {
        name: "wear and cold",
        usual: 0.4,
        looks_at: |feature| {
            feature.name == LOST
                || feature.name == "untested"
                || feature.name == "log age"
                || feature.name == "further battery"
                || is_of(feature, &SEASON)
                || is_of(feature, &FLAT)
                || feature.name.starts_with("cold")
        },
    },
    Way {
        name: "wear",
        usual: 0.1,
        looks_at: |feature| feature.name == LOST || is_of(feature, &SEASON),
    },
    Way {
        name: "age",
        usual: 0.1,
        looks_at: |feature| feature.name == "log age" || is_of(feature, &SEASON),
    },
    Way {
        name: "last test",
        usual: 0.1,
        looks_at: |feature| {
            is_of(feature, &[LAST_TEST, "untested"])
                || is_of(feature, &SEASON)
                || is_of(feature, &FLAT)
        },
    },
];

/// The way by whose columns failures are parted from those that nothing foretells.
const PARTED_BY: usize = 1;

/// Trials: so many, each of so many days.
const TRIALS: usize = 4;
const TRIAL_DAYS: f64 = 91.0;
/// A trial learns from at least so many failed looks.
const FEWEST_FAILED: usize = 10;

/// A way with its weight.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    pub name: &'static str,
    pub weight: f64,
    /// Mean log-likelihood of a trial look, against the pooled one.
    pub score: f64,
}

/// The pooled model.
pub struct Pooled {
    pub fit: HazardFit,
    pub alike: Alike,
    pub ways: Vec<Weighed>,
    pub scaling: Vec<Scaling>,
    pub drawn: Drawn,
    /// The factor on its penalty of each column.
    pub penalty_factors: Vec<f64>,
    /// Logarithm of the factor on all chances, and its standard deviation.
    pub level: f64,
    pub level_sd: f64,
    pub trial_failures: f64,
    pub failures: usize,
    pub looks: usize,
    pub battery_weeks: f64,
    /// How much of what is known about the level of the hazard comes from the prior.
    pub prior_weight: f64,
    pub fallback: Option<String>,
}

/// The looks to learn from and those to be told, quarter by quarter of the last year.
fn tries(looks: &BatteryDays, end: f64, horizon_days: f64) -> Vec<(Vec<usize>, Vec<usize>)> {
    let those = |wanted: &dyn Fn(f64) -> bool| -> Vec<usize> {
        let days = looks.known_days.iter().enumerate();
        days.filter(|(_, day)| wanted(**day))
            .map(|(look, _)| look)
            .collect()
    };
    (0..TRIALS)
        .map(|trial| end - TRIAL_DAYS * (TRIALS - trial) as f64)
        .map(|from| {
            (
                those(&|day| day + horizon_days <= from),
                those(&|day| day > from && day <= from + TRIAL_DAYS),
            )
        })
        .filter(|(learnt, _)| {
            let failed = learnt.iter().filter(|look| looks.events[**look]);
            failed.count() >= FEWEST_FAILED
        })
        .collect()
}

/// Fits, tries and pools the ways; how hard slopes are drawn is chosen by the trials unless it is given.
pub fn fit(
    frame: &Frame,
    features: &[Feature],
    horizon_days: f64,
    given: Option<&Drawn>,
    prior_failures: usize,
) -> Pooled {
    let looks = BatteryDays::new(frame, horizon_days);
    let scaling = match looks.rows.is_empty() {
        true => learn(features, &frame.current()),
        false => learn(features, &looks.rows),
    };
    let ground = Ground {
        features,
        cells: design(features, &scaling, &looks.rows),
        scaling: &scaling,
        looks: &looks,
        horizon_days,
    };
    let all: Vec<usize> = (0..looks.rows.len()).collect();
    let columns: Vec<Vec<usize>> = WAYS
        .iter()
        .map(|way| {
            let looked_at = |at: &usize| (way.looks_at)(&features[*at]);
            (0..features.len()).filter(looked_at).collect()
        })
        .collect();
    let usual: Vec<f64> = WAYS.iter().map(|way| way.usual).collect();
    let failures = failed_batteries(frame, &looks);
    let enough = failures >= prior_failures.max(1);

    let end = looks
        .known_days
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let spans = match enough {
        true => tries(&looks, end, horizon_days),
        false => Vec::new(),
    };
    let parts = together(&spans, |(learnt, _)| {
        parted(&ground, &columns[PARTED_BY], learnt)
    });
    let tries: Vec<Try> = spans
        .into_iter()
        .zip(parts)
        .map(|((learnt, tried), parted)| Try {
            parted,
            learnt,
            tried,
        })
        .collect();
    let mut trials = Trials::of(&looks, &tries);
    let all_signs = penalties::choose(&ground, &columns[0], &tries, &trials, given);
    let drawn = &all_signs.drawn;
    let few = Drawn::evenly(FEW_COLUMNS_PENALTY);
    let of_few = together(&columns[1..], |columns| {
        foretold(&ground, columns, &tries, &few)
    });
    trials.predictors = std::iter::once(all_signs.said.clone())
        .chain(of_few)
        .collect();
    let trial_failures = trials.failures();
    // Untried, the way of all signs stands: its prior speaks where the failures do not.
    let (weights, (level, level_sd)) = match trial_failures > 0.0 {
        true => {
            let weights = trials.weigh(&usual);
            let level = trials.level(&weights);
            (weights, level)
        }
        false => (vec![1.0, 0.0, 0.0, 0.0, 0.0], (0.0, 0.0)),
    };
    let parted = parted(&ground, &columns[PARTED_BY], &all);
    let mut fallback = None;
    let ways: Vec<usize> = (0..WAYS.len()).collect();
    let fitted = together(&ways, |way| {
        let (drawn, near) = match way {
            0 => (drawn, all_signs.last_line()),
            _ => (&few, None),
        };
        let learnt = Learnt::of(&ground, &columns[*way], &all);
        learnt.fit(&parted.foretold, drawn, near)
    });
    let fits: Vec<HazardFit> = fitted
        .into_iter()
        .enumerate()
        .map(|(way, (fit, why))| {
            if let Some(why) = why.filter(|_| weights[way] > 0.0) {
                fallback.get_or_insert(format!("{}: {why}", WAYS[way].name));
            }
            fit
        })
        .collect();
    let mut fit = pooled(&fits, &weights);
    fit.intercept += level;
    fit.covariance[0] += level_sd * level_sd;
    let n: f64 = trials.weights.iter().sum::<f64>().max(1.0);
    let ways = WAYS
        .iter()
        .enumerate()
        .map(|(at, way)| {
            let mut alone = vec![0.0; WAYS.len()];
            alone[at] = 1.0;
            Weighed {
                name: way.name,
                weight: weights[at],
                score: if trial_failures > 0.0 {
                    (trials.likelihood(&alone) - trials.likelihood(&weights)) / n
                } else {
                    0.0
                },
            }
        })
        .collect();
    Pooled {
        fit,
        alike: Alike {
            hazard: parted.alike.hazard * level.exp(),
            log_sd: parted.alike.log_sd.hypot(level_sd),
        },
        ways,
        penalty_factors: features.iter().map(|one| drawn.factor(one)).collect(),
        drawn: drawn.clone(),
        level,
        level_sd,
        trial_failures,
        failures,
        looks: looks.rows.len(),
        battery_weeks: looks.battery_weeks(frame),
        prior_weight: looks.prior_weight(),
        fallback,
        scaling,
    }
}

/// The weighted mean of fits. They rest on the same failures, so their errors go together: the mean of the
/// covariances is no less than that of the mean.
fn pooled(fits: &[HazardFit], weights: &[f64]) -> HazardFit {
    let mut pooled = fits[0].clone();
    let mean = |value: &dyn Fn(&HazardFit) -> f64| -> f64 {
        fits.iter()
            .zip(weights)
            .map(|(fit, weight)| weight * value(fit))
            .sum()
    };
    pooled.intercept = mean(&|fit| fit.intercept);
    pooled.effective_df = mean(&|fit| fit.effective_df);
    for (at, to) in pooled.coefficients.iter_mut().enumerate() {
        *to = mean(&|fit| fit.coefficients[at]);
    }
    for (at, to) in pooled.covariance.iter_mut().enumerate() {
        *to = mean(&|fit| fit.covariance[at]);
    }
    pooled
}
