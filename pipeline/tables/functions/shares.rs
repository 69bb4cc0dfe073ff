//! Shares and standardised ratios in SQL, each with the limits that chance leaves open.

use std::sync::Arc;

use arrow::array::{Array, AsArray};
use arrow::datatypes::{DataType, Float64Type, Int64Type};
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use super::answer::{number_fields, struct_rows};
use statistics::rates::exact_share::exact_limits;
use statistics::rates::funnel::funnel_point;
use statistics::rates::wilson::wilson_limits;

const CONFIDENCE: f64 = 0.95;
const SHARE: [&str; 3] = ["share", "lower", "upper"];
const PLACE: [&str; 4] = ["ratio", "lower", "upper", "p"];

/// `share_limits(successes, trials)`.
pub fn share_limits() -> Documented<ScalarUDF> {
    Documented {
        function: shares("share_limits", |successes, trials| {
            let limits = wilson_limits(successes, trials, CONFIDENCE).ok()?;
            Some([limits.lower, limits.upper])
        }),
        signature: "share_limits(successes, trials)",
        about: "a share with Wilson's 95 % limits: a struct; null without trials",
    }
}

/// `exact_share_limits(successes, trials)`.
pub fn exact_share_limits() -> Documented<ScalarUDF> {
    Documented {
        function: shares("exact_share_limits", |successes, trials| {
            let limits = exact_limits(successes, trials, CONFIDENCE).ok()?;
            Some([limits.lower, limits.upper])
        }),
        signature: "exact_share_limits(successes, trials)",
        about: "a share with exact (Clopper–Pearson) 95 % limits: a struct; null without trials",
    }
}

fn shares(name: &str, limits: fn(u64, u64) -> Option<[f64; 2]>) -> ScalarUDF {
    create_udf(
        name,
        vec![DataType::Int64, DataType::Int64],
        DataType::Struct(number_fields(&SHARE)),
        Volatility::Immutable,
        Arc::new(move |arguments| {
            let arrays = ColumnarValue::values_to_arrays(arguments)?;
            let successes = arrays[0].as_primitive::<Int64Type>();
            let trials = arrays[1].as_primitive::<Int64Type>();
            structs(&SHARE, successes.len(), |row| {
                if successes.is_null(row) || trials.is_null(row) {
                    return None;
                }
                let successes = u64::try_from(successes.value(row)).ok()?;
                let trials = u64::try_from(trials.value(row)).ok()?;
                let [lower, upper] = limits(successes, trials)?;
                Some([successes as f64 / trials as f64, lower, upper])
            })
        }),
    )
}

/// `funnel_place(events, expected)`.
pub fn funnel_place() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "funnel_place",
            vec![DataType::Int64, DataType::Float64],
            DataType::Struct(number_fields(&PLACE)),
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let events = arrays[0].as_primitive::<Int64Type>();
                let expected = arrays[1].as_primitive::<Float64Type>();
                structs(&PLACE, events.len(), |row| {
                    if events.is_null(row) || expected.is_null(row) {
                        return None;
                    }
                    let events = u64::try_from(events.value(row)).ok()?;
                    let point = funnel_point(events, expected.value(row), 1.0, CONFIDENCE).ok()?;
                    Some([point.rate, point.limits.lower, point.limits.upper, point.p])
                })
            }),
        ),
        signature: "funnel_place(events, expected)",
        about: "events over those expected, the 95 % funnel about 1 at that size, and the two-sided exact Poisson p: a struct; null where none are expected",
    }
}

/// A column of structs of numbers.
fn structs<const N: usize>(
    names: &[&str; N],
    rows: usize,
    answer: impl Fn(usize) -> Option<[f64; N]>,
) -> Result<ColumnarValue> {
    Ok(struct_rows(names, rows, |row| {
        answer(row).map(|numbers| numbers.map(Some))
    }))
}
