//! The Weibull law of lives in SQL: its fit, and its chance of failing soon.
//!
//! A group with too little to fit is an answer too: the counts stand, the estimates are null.
//! Curves without a law are left to `curves`.

use std::sync::Arc;

use arrow::array::AsArray;
use arrow::datatypes::{DataType, Float64Type};
use datafusion::error::Result;
use datafusion::logical_expr::{AggregateUDF, ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use super::answer::{number_at, number_fields, numbers, struct_rows};
use super::collect::collecting;
use statistics::Life;
use statistics::limits::Limits;
use statistics::lives::weibull::{WeibullFit, fit_weibull_sample};
use statistics::lives::weibull_law::Weibull;
use statistics::lives::weibull_likelihood::{WeibullPrior, WeibullSample};
use statistics::lives::weibull_profile::{
    constant_hazard_test, profile_b_life_limits, profile_scale_limits, profile_shape_limits,
};

const CONFIDENCE: f64 = 0.95;

/// With more failures than this the normal-theory limits and those of the profile agree, and the
/// profile is not worth its time.
const MOST_PROFILED_FAILURES: usize = 1_000;

const FIT: [&str; 25] = [
    "lives",
    "failures",
    "exposure",
    "shape",
    "shape_lower",
    "shape_upper",
    "scale",
    "scale_lower",
    "scale_upper",
    "b10",
    "b10_lower",
    "b10_upper",
    "b50",
    "ln_scale_variance",
    "ln_sigma_variance",
    "covariance",
    "log_likelihood",
    "constant_hazard_p",
    "shape_profile_lower",
    "shape_profile_upper",
    "scale_profile_lower",
    "scale_profile_upper",
    "b10_profile_lower",
    "b10_profile_upper",
    "ended_at_entry",
];

/// `weibull_life(entry, exit, failed)`.
pub fn weibull_life() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "weibull_life",
            vec![DataType::Float64, DataType::Float64, DataType::Boolean],
            DataType::Struct(number_fields(&FIT)),
            |columns| {
                let Observed {
                    lives,
                    ended_at_entry,
                } = observed(columns);
                let exposure: f64 = lives.iter().map(|life| life.exit - life.entry).sum();
                let failures = lives.iter().filter(|life| life.event).count();
                let mut answer = vec![
                    Some(lives.len() as f64),
                    Some(failures as f64),
                    Some(exposure),
                ];
                answer.extend(estimates(&lives).unwrap_or_default());
                answer.resize(FIT.len() - 1, None);
                answer.push(Some(ended_at_entry));
                Ok(numbers(&FIT, &answer))
            },
        ),
        signature: "weibull_life(entry, exit, failed)",
        about: "Weibull fit by maximum likelihood to lives observed from entry to exit (left truncated, right censored): a struct of estimates with 95 % limits, for up to 1,000 failures also by profile likelihood (null: that end is left open), the p of a hazard that does not change with age, and how many ended at the very age they entered at, which says nothing of a rate and is not in the fit",
    }
}

fn estimates(lives: &[Life]) -> Option<Vec<Option<f64>>> {
    let sample = WeibullSample::from_lives(lives).ok()?;
    let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).ok()?;
    let shape = fit.shape_limits(CONFIDENCE).ok();
    let scale = fit.scale_limits(CONFIDENCE).ok();
    let b10 = fit.b_life_limits(0.1, CONFIDENCE).ok();
    let constant = constant_hazard_test(&sample, &fit).ok();
    let lower = |limits: Option<Limits>| limits.map(|limits| limits.lower);
    let upper = |limits: Option<Limits>| limits.map(|limits| limits.upper);
    let mut answer = vec![
        Some(fit.law.shape),
        lower(shape),
        upper(shape),
        Some(fit.law.scale),
        lower(scale),
        upper(scale),
        Some(fit.law.b_life(0.1)),
        lower(b10),
        upper(b10),
        Some(fit.law.b_life(0.5)),
        Some(fit.ln_scale_variance),
        Some(fit.ln_sigma_variance),
        Some(fit.covariance),
        Some(fit.log_likelihood),
        constant.map(|test| test.p),
    ];
    if sample.failures() <= MOST_PROFILED_FAILURES {
        let profiles = [
            profile_shape_limits(&sample, &fit, CONFIDENCE),
            profile_scale_limits(&sample, &fit, CONFIDENCE),
            profile_b_life_limits(&sample, &fit, 0.1, CONFIDENCE),
        ];
        for limits in profiles.map(Result::ok) {
            // An end at 0 is as open as one at infinity.
            answer.extend([lower(limits).filter(|end| *end > 0.0), upper(limits)]);
        }
    }
    Some(answer)
}

/// Lives with any time under observation, and how many ended at the very age they entered at, of which
/// no rate can be told.
pub struct Observed {
    pub lives: Vec<Life>,
    pub ended_at_entry: f64,
}

/// From sorted columns of entry, exit and whether it failed. One that left as it came says nothing.
pub fn observed(columns: &[Vec<f64>]) -> Observed {
    let [entry, exit, failed, ..] = columns else {
        return Observed {
            lives: Vec::new(),
            ended_at_entry: 0.0,
        };
    };
    let spans = entry.iter().zip(exit).zip(failed);
    let lives = spans
        .clone()
        .filter(|((entry, exit), _)| **entry >= 0.0 && exit > entry)
        .map(|((entry, exit), failed)| Life {
            entry: *entry,
            exit: *exit,
            event: *failed > 0.5,
        })
        .collect();
    Observed {
        lives,
        ended_at_entry: ended_at_entry(
            spans.map(|((entry, exit), failed)| (entry, exit, *failed > 0.5)),
        ),
    }
}

/// How many of the spans end at the very age they begin at.
pub fn ended_at_entry<'a>(spans: impl Iterator<Item = (&'a f64, &'a f64, bool)>) -> f64 {
    spans
        .filter(|(entry, exit, ended)| *ended && **entry >= 0.0 && exit == entry)
        .count() as f64
}

const CHANCE: [&str; 3] = ["chance", "lower", "upper"];

/// `weibull_chance(fit, age, horizon)`.
pub fn weibull_chance() -> Documented<ScalarUDF> {
    let arguments = vec![
        DataType::Struct(number_fields(&FIT)),
        DataType::Float64,
        DataType::Float64,
    ];
    Documented {
        function: create_udf(
            "weibull_chance",
            arguments,
            DataType::Struct(number_fields(&CHANCE)),
            Volatility::Immutable,
            Arc::new(chances),
        ),
        signature: "weibull_chance(fit, age, horizon)",
        about: "chance that a battery of this age fails within the horizon under a fit made by weibull_life, with delta-method 95 % limits: a struct",
    }
}

fn chances(arguments: &[ColumnarValue]) -> Result<ColumnarValue> {
    let arrays = ColumnarValue::values_to_arrays(arguments)?;
    let fits = arrays[0].as_struct();
    let ages = arrays[1].as_primitive::<Float64Type>();
    let horizons = arrays[2].as_primitive::<Float64Type>();
    let number = |name: &str, row: usize| {
        let column = fits.column_by_name(name)?.as_primitive_opt()?;
        number_at(column, row)
    };
    Ok(struct_rows(&CHANCE, ages.len(), |row| {
        let fit = WeibullFit {
            law: Weibull {
                shape: number("shape", row)?,
                scale: number("scale", row)?,
            },
            ln_scale_variance: number("ln_scale_variance", row)?,
            ln_sigma_variance: number("ln_sigma_variance", row)?,
            covariance: number("covariance", row)?,
            log_likelihood: number("log_likelihood", row)?,
            lives: number("lives", row)? as usize,
            failures: number("failures", row)? as usize,
            iterations: 0,
            prior: Default::default(),
        };
        let (age, horizon) = (number_at(ages, row)?.max(0.0), number_at(horizons, row)?);
        let limits = fit.failure_chance_limits(age, horizon, CONFIDENCE).ok()?;
        Some([
            Some(fit.law.failure_chance(age, horizon)),
            Some(limits.lower),
            Some(limits.upper),
        ])
    }))
}
