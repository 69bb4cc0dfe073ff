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
use super::feature::{Feature, LAST_TEST, LOST};
use super::features::{HEAT_AHEAD, HEAT_BEHIND};
use super::frame::Frame;
use super::model::{
    BatteryDays, failed_batteries, fit_or_simpler, nothing_seen, prior, usual_hazard,
};
use super::scaled::{Scaling, design, learn};
use super::together::together;
use super::trials::Trials;
use super::without_warning::{Alike, Seen, WithoutWarning, part};
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::HazardFit;

/// A way of foretelling: which columns it looks at.
struct Way {
    name: &'static str,
    /// Weight before trials tell.
    usual: f64,
    looks_at: fn(&Feature) -> bool,
}

const SEASON: [&str; 4] = [COLD, WARMING, HEAT_AHEAD, HEAT_BEHIND];

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
        looks_at: |feature| is_of(feature, &[LAST_TEST, "untested"]) || is_of(feature, &SEASON),
    },
];

/// The way by whose columns failures are parted from those that nothing foretells.
const PARTED_BY: usize = 1;

/// Trials: so many, each of so many days.
const TRIALS: usize = 4;
const TRIAL_DAYS: f64 = 91.0;
/// A trial learns from at least so many failed looks.
const FEWEST_FAILED: usize = 10;

/// Penalties of the way of all signs, from which trials choose; the others' columns are few.
const PENALTIES: [f64; 6] = [10_000.0, 3_000.0, 1_000.0, 300.0, 100.0, 30.0];
const FEW_COLUMNS_PENALTY: f64 = 1_000.0;

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
    pub penalty: f64,
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

/// What the ways are fitted on.
struct Ground<'a> {
    features: &'a [Feature],
    scaling: &'a [Scaling],
    looks: &'a BatteryDays,
    cells: Vec<f64>,
    horizon_days: f64,
}

impl Ground<'_> {
    fn columns(&self, way: &Way) -> Vec<usize> {
        (0..self.features.len())
            .filter(|at| (way.looks_at)(&self.features[*at]))
            .collect()
    }

    fn row(&self, look: usize) -> &[f64] {
        let size = self.features.len();
        &self.cells[look * size..(look + 1) * size]
    }

    /// Parts what nothing foretells from what the columns of a way do, on some looks.
    fn part(&self, columns: &[usize], looks: &[usize]) -> WithoutWarning {
        let seen: Vec<Seen> = looks
            .iter()
            .map(|look| Seen {
                failed: self.looks.events[*look],
                weight: self.looks.weights[*look],
                watched: self.looks.offsets[*look].exp(),
            })
            .collect();
        part(&seen, usual_hazard(self.horizon_days), |foretold| {
            let (fit, _) = self.fit(columns, looks, foretold, FEW_COLUMNS_PENALTY);
            looks
                .iter()
                .map(|look| self.predictor(&fit, *look).min(3.0).exp())
                .collect()
        })
    }

    /// Fits some columns on some looks, of which the failures count by their share `foretold`; the coefficients
    /// are of all columns, 0 where not looked at.
    fn fit(
        &self,
        columns: &[usize],
        looks: &[usize],
        foretold: &[f64],
        penalty: f64,
    ) -> (HazardFit, Option<String>) {
        let features: Vec<&Feature> = columns.iter().map(|at| &self.features[*at]).collect();
        let scaling: Vec<Scaling> = columns.iter().map(|at| self.scaling[*at]).collect();
        let mut ridge: Ridge = prior(&features, &scaling, self.horizon_days);
        ridge.lambda = penalty;
        // What the columns did not bring they came through.
        let counted = |look: usize, failed: bool, share: f64| {
            (share > 0.0).then(|| (look, failed, share * self.looks.weights[look]))
        };
        let rows: Vec<(usize, bool, f64)> = looks
            .iter()
            .zip(foretold)
            .flat_map(|(look, share)| {
                let share = if self.looks.events[*look] {
                    *share
                } else {
                    0.0
                };
                [
                    counted(*look, true, share),
                    counted(*look, false, 1.0 - share),
                ]
            })
            .flatten()
            .collect();
        let cells: Vec<f64> = rows
            .iter()
            .flat_map(|(look, ..)| columns.iter().map(|at| self.row(*look)[*at]))
            .collect();
        let events: Vec<bool> = rows.iter().map(|(_, failed, _)| *failed).collect();
        let weights: Vec<f64> = rows.iter().map(|(.., weight)| *weight).collect();
        let offsets: Vec<f64> = rows
            .iter()
            .map(|(look, ..)| self.looks.offsets[*look])
            .collect();
        let data = PersonPeriods {
            design: Design {
                columns: columns.len(),
                values: &cells,
            },
            events: &events,
            weights: Some(&weights),
            offsets: Some(&offsets),
        };
        let (fit, fallback) = match looks.is_empty() {
            true => (nothing_seen(&ridge), None),
            false => fit_or_simpler(&data, &mut ridge),
        };
        (spread_out(fit, columns, self.features.len()), fallback)
    }

    fn predictor(&self, fit: &HazardFit, look: usize) -> f64 {
        let line = fit.coefficients.iter().zip(self.row(look));
        fit.intercept + self.looks.offsets[look] + line.map(|(b, x)| b * x).sum::<f64>()
    }
}

/// A fit of some columns as one of all, the others at nought.
fn spread_out(fit: HazardFit, columns: &[usize], all: usize) -> HazardFit {
    let (small, size) = (columns.len() + 1, all + 1);
    let place = |at: usize| if at == 0 { 0 } else { columns[at - 1] + 1 };
    let mut coefficients = vec![0.0; all];
    let mut covariance = vec![0.0; size * size];
    for (at, column) in columns.iter().enumerate() {
        coefficients[*column] = fit.coefficients[at];
    }
    for i in 0..small {
        for j in 0..small {
            covariance[place(i) * size + place(j)] = fit.covariance[i * small + j];
        }
    }
    HazardFit {
        coefficients,
        covariance,
        ..fit
    }
}

/// Fits, tries and pools the ways.
pub fn fit(
    frame: &Frame,
    features: &[Feature],
    horizon_days: f64,
    penalty: Option<f64>,
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
    let columns: Vec<Vec<usize>> = WAYS.iter().map(|way| ground.columns(way)).collect();
    let usual: Vec<f64> = WAYS.iter().map(|way| way.usual).collect();
    let failures = failed_batteries(frame, &looks);
    let enough = failures >= prior_failures.max(1);

    let end = looks
        .known_days
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    // Of each penalty of all signs, then of each way.
    let penalties: Vec<f64> = penalty.map_or(PENALTIES.to_vec(), |penalty| vec![penalty]);
    let mut of_penalties: Vec<Vec<f64>> = vec![Vec::new(); penalties.len()];
    let mut trials = Trials {
        predictors: vec![Vec::new(); WAYS.len()],
        events: Vec::new(),
        weights: Vec::new(),
        alike: Vec::new(),
        ends: Vec::new(),
    };
    for trial in 0..TRIALS {
        let from = end - TRIAL_DAYS * (TRIALS - trial) as f64;
        let learnt: Vec<usize> = all
            .iter()
            .copied()
            .filter(|look| looks.known_days[*look] + horizon_days <= from)
            .collect();
        let failed = learnt.iter().filter(|look| looks.events[**look]).count();
        if !enough || failed < FEWEST_FAILED {
            continue;
        }
        let tried: Vec<usize> = all
            .iter()
            .copied()
            .filter(|look| {
                let day = looks.known_days[*look];
                day > from && day <= from + TRIAL_DAYS
            })
            .collect();
        let parted = ground.part(&columns[PARTED_BY], &learnt);
        let foretold = |columns: &[usize], penalty: f64| -> Vec<f64> {
            let (fit, _) = ground.fit(columns, &learnt, &parted.foretold, penalty);
            tried
                .iter()
                .map(|look| ground.predictor(&fit, *look))
                .collect()
        };
        let of_all_signs = together(&penalties, |penalty| foretold(&columns[0], *penalty));
        for (known, more) in of_penalties.iter_mut().zip(of_all_signs) {
            known.extend(more);
        }
        let of_few = together(&columns[1..], |columns| {
            foretold(columns, FEW_COLUMNS_PENALTY)
        });
        for (known, more) in trials.predictors[1..].iter_mut().zip(of_few) {
            known.extend(more);
        }
        trials
            .events
            .extend(tried.iter().map(|look| looks.events[*look]));
        trials.alike.extend(
            tried
                .iter()
                .map(|look| parted.alike.hazard * looks.offsets[*look].exp()),
        );
        trials
            .weights
            .extend(tried.iter().map(|look| looks.weights[*look]));
        trials.ends.push(trials.events.len());
    }
    let (mut chosen, mut best) = (0, f64::NEG_INFINITY);
    if !trials.events.is_empty() {
        for (at, predictors) in of_penalties.iter().enumerate() {
            trials.predictors[0] = predictors.clone();
            let mut alone = vec![0.0; WAYS.len()];
            alone[0] = 1.0;
            let found = trials.likelihood(&alone);
            if found > best {
                (chosen, best) = (at, found);
            }
        }
        trials.predictors[0] = of_penalties.swap_remove(chosen);
    } else {
        chosen = penalties
            .iter()
            .position(|penalty| *penalty == 3_000.0)
            .unwrap_or(0);
    }
    let penalty = penalties[chosen];
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
    let parted = ground.part(&columns[PARTED_BY], &all);
    let mut fallback = None;
    let ways: Vec<usize> = (0..WAYS.len()).collect();
    let fitted = together(&ways, |way| {
        let penalty = if *way == 0 {
            penalty
        } else {
            FEW_COLUMNS_PENALTY
        };
        ground.fit(&columns[*way], &all, &parted.foretold, penalty)
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
        penalty,
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
