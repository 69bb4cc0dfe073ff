//! Lives in SQL: a Weibull fit, its chance of failing soon, and the Kaplan–Meier steps.

use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Float64Array, StructArray};
use arrow::datatypes::{DataType, Field, Float64Type};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};
use datafusion::scalar::ScalarValue;

use super::Documented;
use super::collect::{collecting, number_fields, numbers};
use crate::statistics::Life;
use crate::statistics::kaplan_meier::kaplan_meier;
use crate::statistics::weibull::{Weibull, WeibullFit, fit_weibull};
use datafusion::logical_expr::AggregateUDF;

const CONFIDENCE: f64 = 0.95;

const FIT: [&str; 17] = [
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
];

/// `weibull_life(entry, exit, failed)`.
pub fn weibull_life() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "weibull_life",
            vec![DataType::Float64, DataType::Float64, DataType::Boolean],
            DataType::Struct(number_fields(&FIT)),
            |columns| {
                let lives = observed(columns);
                let exposure: f64 = lives.iter().map(|life| life.exit - life.entry).sum();
                let failures = lives.iter().filter(|life| life.event).count();
                let mut answer = vec![
                    Some(lives.len() as f64),
                    Some(failures as f64),
                    Some(exposure),
                ];
                answer.resize(FIT.len(), None);
                // Too little to fit is an answer too: the counts stand, the estimates are null.
                if let Ok(fit) = fit_weibull(&lives) {
                    let tail = estimates(&fit);
                    answer.splice(3.., tail);
                }
                Ok(numbers(&FIT, &answer))
            },
        ),
        signature: "weibull_life(entry, exit, failed)",
        about: "Weibull fit by maximum likelihood to lives observed from entry to exit (left truncated, right censored): a struct of estimates with 95 % limits",
    }
}

fn estimates(fit: &WeibullFit) -> Vec<Option<f64>> {
    let shape = fit.shape_limits(CONFIDENCE).ok();
    let scale = fit.scale_limits(CONFIDENCE).ok();
    let b10 = fit.b_life_limits(0.1, CONFIDENCE).ok();
    vec![
        Some(fit.law.shape),
        shape.map(|limits| limits.lower),
        shape.map(|limits| limits.upper),
        Some(fit.law.scale),
        scale.map(|limits| limits.lower),
        scale.map(|limits| limits.upper),
        Some(fit.law.b_life(0.1)),
        b10.map(|limits| limits.lower),
        b10.map(|limits| limits.upper),
        Some(fit.law.b_life(0.5)),
        Some(fit.ln_scale_variance),
        Some(fit.ln_sigma_variance),
        Some(fit.covariance),
        Some(fit.log_likelihood),
    ]
}

/// Lives with any time under observation; one that left as it came says nothing.
fn observed(columns: &[Vec<f64>]) -> Vec<Life> {
    let [entry, exit, failed] = columns else {
        return Vec::new();
    };
    entry
        .iter()
        .zip(exit)
        .zip(failed)
        .filter(|((entry, exit), _)| exit > entry)
        .map(|((entry, exit), failed)| Life {
            entry: *entry,
            exit: *exit,
            event: *failed > 0.5,
        })
        .collect()
}

const STEP: [&str; 7] = [
    "age",
    "at_risk",
    "failures",
    "survival",
    "lower",
    "upper",
    "cumulative_hazard",
];

/// `survival_steps(entry, exit, failed)`.
pub fn survival_steps() -> Documented<AggregateUDF> {
    let step = DataType::Struct(number_fields(&STEP));
    let list = DataType::List(Arc::new(Field::new_list_field(step, true)));
    Documented {
        function: collecting(
            "survival_steps",
            vec![DataType::Float64, DataType::Float64, DataType::Boolean],
            list,
            |columns| {
                let steps = kaplan_meier(&observed(columns), CONFIDENCE)
                    .map(|curve| curve.steps)
                    .unwrap_or_default();
                let column = |value: &dyn Fn(usize) -> Option<f64>| {
                    Arc::new((0..steps.len()).map(value).collect::<Float64Array>()) as ArrayRef
                };
                let rows = StructArray::new(
                    number_fields(&STEP),
                    vec![
                        column(&|at| Some(steps[at].age)),
                        column(&|at| Some(steps[at].at_risk as f64)),
                        column(&|at| Some(steps[at].events as f64)),
                        column(&|at| Some(steps[at].survival)),
                        column(&|at| steps[at].limits.map(|limits| limits.lower)),
                        column(&|at| steps[at].limits.map(|limits| limits.upper)),
                        column(&|at| Some(steps[at].cumulative_hazard)),
                    ],
                    None,
                );
                Ok(ScalarValue::List(Arc::new(
                    datafusion::common::utils::SingleRowListArrayBuilder::new(Arc::new(rows))
                        .build_list_array(),
                )))
            },
        ),
        signature: "survival_steps(entry, exit, failed)",
        about: "Kaplan–Meier steps with log-log 95 % limits for lives observed from entry to exit: a list of structs, one a failure age, to UNNEST",
    }
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
    let [fits, ages, horizons] = &arrays[..] else {
        return Err(DataFusionError::Plan(
            "weibull_chance takes a fit, an age and a horizon".to_owned(),
        ));
    };
    let fits = fits.as_struct();
    let ages = ages.as_primitive::<Float64Type>();
    let horizons = horizons.as_primitive::<Float64Type>();
    let number = |name: &str, row: usize| {
        let column = fits
            .column_by_name(name)?
            .as_primitive_opt::<Float64Type>()?;
        use arrow::array::Array;
        column.is_valid(row).then(|| column.value(row))
    };
    let answers: Vec<Option<[f64; 3]>> = (0..ages.len())
        .map(|row| {
            use arrow::array::Array;
            if ages.is_null(row) || horizons.is_null(row) {
                return None;
            }
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
            let (age, horizon) = (ages.value(row).max(0.0), horizons.value(row));
            let limits = fit.failure_chance_limits(age, horizon, CONFIDENCE).ok()?;
            Some([
                fit.law.failure_chance(age, horizon),
                limits.lower,
                limits.upper,
            ])
        })
        .collect();
    let column = |at: usize| {
        Arc::new(
            answers
                .iter()
                .map(|answer| answer.map(|numbers| numbers[at]))
                .collect::<Float64Array>(),
        ) as ArrayRef
    };
    Ok(ColumnarValue::Array(Arc::new(StructArray::new(
        number_fields(&CHANCE),
        vec![column(0), column(1), column(2)],
        None,
    ))))
}
