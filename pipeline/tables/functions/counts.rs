//! Counts in SQL: what is usual, and how far a count lies from it.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Float64Array};
use arrow::datatypes::{DataType, Float64Type, Int64Type};
use datafusion::logical_expr::{AggregateUDF, ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use super::answer::{number_fields, numbers};
use super::collect::collecting;
use statistics::rates::negative_binomial::{NegativeBinomial, fit_tallied};
use statistics::rates::usual_counts::fit_usual;

const LAW: [&str; 3] = ["mean", "size", "counts"];
const USUAL: [&str; 5] = ["mean", "size", "zero_share", "upset_share", "counts"];

/// `count_law(count)`.
pub fn count_law() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "count_law",
            vec![DataType::Float64],
            DataType::Struct(number_fields(&LAW)),
            |columns| {
                let [counts] = columns else {
                    return Ok(numbers(&LAW, &[None; LAW.len()]));
                };
                let law = fit_tallied(&tally(counts)).ok();
                Ok(numbers(
                    &LAW,
                    &[
                        law.map(|law| law.mean),
                        law.map(|law| law.size),
                        Some(counts.len() as f64),
                    ],
                ))
            },
        ),
        signature: "count_law(count)",
        about: "negative binomial law of counts by maximum likelihood: a struct of mean, size (null: they spread no wider than Poisson) and how many counts",
    }
}

/// `usual_law(count, upset_from, upsets_known)`.
pub fn usual_law() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "usual_law",
            vec![DataType::Float64, DataType::Float64, DataType::Boolean],
            DataType::Struct(number_fields(&USUAL)),
            |columns| {
                let [counts, upset_from, upsets_known] = columns else {
                    return Ok(numbers(&USUAL, &[None; USUAL.len()]));
                };
                let least = upset_from.iter().copied().fold(0.0, f64::max).max(1.0);
                let known = upsets_known.iter().any(|known| *known != 0.0);
                let usual = fit_usual(&tally(counts), least as u64, known).ok();
                Ok(numbers(
                    &USUAL,
                    &[
                        usual.map(|usual| usual.law.mean),
                        usual.map(|usual| usual.law.size),
                        usual.map(|usual| usual.zero_share),
                        usual.map(|usual| usual.upset_share),
                        Some(counts.len() as f64),
                    ],
                ))
            },
        ),
        signature: "usual_law(count, upset_from, upsets_known)",
        about: "what counts usually are although some, of upset_from and more, hold an upset, which the counts themselves must show where it is not known to happen: a struct of the mean and size (null: Poisson) of a negative binomial, the share of usual counts that are zero besides, the share of upsets, and how many counts",
    }
}

/// Sorted counts as pairs of a count and how often it came.
fn tally(sorted: &[f64]) -> Vec<(u64, u64)> {
    let mut tallied: Vec<(u64, u64)> = Vec::new();
    for count in sorted.iter().map(|count| count.max(0.0) as u64) {
        match tallied.last_mut() {
            Some((last, times)) if *last == count => *times += 1,
            _ => tallied.push((count, 1)),
        }
    }
    tallied
}

/// `count_tail(count, mean, size)`.
pub fn count_tail() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "count_tail",
            vec![DataType::Int64, DataType::Float64, DataType::Float64],
            DataType::Float64,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let counts = arrays[0].as_primitive::<Int64Type>();
                let means = arrays[1].as_primitive::<Float64Type>();
                let sizes = arrays[2].as_primitive::<Float64Type>();
                let tails: Float64Array = (0..counts.len())
                    .map(|row| {
                        if counts.is_null(row) || means.is_null(row) {
                            return None;
                        }
                        let size = if sizes.is_null(row) {
                            f64::INFINITY
                        } else {
                            sizes.value(row)
                        };
                        let law = NegativeBinomial::new(means.value(row), size).ok()?;
                        let count = u64::try_from(counts.value(row)).ok()?;
                        Some(law.at_least(count))
                    })
                    .collect();
                Ok(ColumnarValue::Array(Arc::new(tails) as ArrayRef))
            }),
        ),
        signature: "count_tail(count, mean, size)",
        about: "chance of this count or more under a negative binomial law; a null size is Poisson",
    }
}
