//! Rates in SQL: exact limits for a count over an exposure, change against an earlier period, and
//! rates drawn towards those of their kind.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray};
use arrow::datatypes::{DataType, Float64Type, Int64Type};
use datafusion::logical_expr::{AggregateUDF, ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use super::answer::{number_at, number_fields, numbers, struct_rows};
use super::collect::collecting;
use statistics::rates::gamma_poisson::{GammaPoisson, fit_gamma_poisson, shrink_rates};
use statistics::rates::poisson_rate::poisson_rate;
use statistics::rates::rate_trend::{Counted, rate_change as compare};

const CONFIDENCE: f64 = 0.95;
const RATE: [&str; 3] = ["rate", "lower", "upper"];
const CHANGE: [&str; 4] = ["ratio", "lower", "upper", "p"];
const LAW: [&str; 3] = ["mean", "size", "cohorts"];
const SHRUNK: [&str; 4] = ["rate", "lower", "upper", "own_weight"];

/// `rate_limits(events, exposure)`.
pub fn rate_limits() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "rate_limits",
            vec![DataType::Int64, DataType::Float64],
            DataType::Struct(number_fields(&RATE)),
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let counted = Counts(&arrays[..2]);
                Ok(struct_rows(&RATE, counted.rows(), |row| {
                    let own = counted.at(row)?;
                    let rate = poisson_rate(own.events, own.exposure, 1.0, CONFIDENCE).ok()?;
                    let limits = rate.limits;
                    Some([Some(rate.rate), Some(limits.lower), Some(limits.upper)])
                }))
            }),
        ),
        signature: "rate_limits(events, exposure)",
        about: "events per unit of exposure with exact (Garwood) 95 % limits: a struct; null without exposure",
    }
}

/// `rate_change(events, exposure, earlier_events, earlier_exposure)`.
pub fn rate_change() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "rate_change",
            vec![
                DataType::Int64,
                DataType::Float64,
                DataType::Int64,
                DataType::Float64,
            ],
            DataType::Struct(number_fields(&CHANGE)),
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let (latest, earlier) = (Counts(&arrays[..2]), Counts(&arrays[2..]));
                Ok(struct_rows(&CHANGE, latest.rows(), |row| {
                    let change = compare(latest.at(row)?, &[earlier.at(row)?], CONFIDENCE).ok()?;
                    let limits = change.ratio_limits;
                    let (lower, upper) = (Some(limits.lower), Some(limits.upper));
                    Some([change.ratio, lower, upper, Some(change.p)])
                }))
            }),
        ),
        signature: "rate_change(events, exposure, earlier_events, earlier_exposure)",
        about: "ratio of a rate to an earlier one with exact 95 % limits and the exact conditional p of no change: a struct; a null limit is one the counts leave open",
    }
}

/// `rate_law(events, exposure)`.
pub fn rate_law() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "rate_law",
            vec![DataType::Float64, DataType::Float64],
            DataType::Struct(number_fields(&LAW)),
            |columns| {
                let (counts, exposures): (Vec<u64>, Vec<f64>) = columns[0]
                    .iter()
                    .zip(&columns[1])
                    .filter(|(events, exposure)| **events >= 0.0 && **exposure > 0.0)
                    .map(|(events, exposure)| (events.round() as u64, *exposure))
                    .unzip();
                let law = fit_gamma_poisson(&counts, &exposures).ok();
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
        signature: "rate_law(events, exposure)",
        about: "gamma law of the rates of cohorts by maximum likelihood: a struct of mean, size (null: they spread no wider than chance) and how many cohorts",
    }
}

/// `rate_shrunk(law, events, exposure)`.
pub fn rate_shrunk() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "rate_shrunk",
            vec![
                DataType::Struct(number_fields(&LAW)),
                DataType::Int64,
                DataType::Float64,
            ],
            DataType::Struct(number_fields(&SHRUNK)),
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let law = arrays[0].as_struct();
                let mean = law.column(0).as_primitive::<Float64Type>();
                let size = law.column(1).as_primitive::<Float64Type>();
                let counted = Counts(&arrays[1..]);
                Ok(struct_rows(&SHRUNK, counted.rows(), |row| {
                    let law = GammaPoisson {
                        mean: number_at(mean, row)?,
                        size: number_at(size, row).unwrap_or(f64::INFINITY),
                        log_likelihood: 0.0,
                    };
                    let own = counted.at(row)?;
                    let rates =
                        shrink_rates(&[own.events], &[own.exposure], &law, CONFIDENCE).ok()?;
                    let rate = rates.first()?;
                    // Limits that close on the common rate would claim that it is known.
                    let limits = (rate.own_weight > 0.0).then_some(rate.limits);
                    Some([
                        Some(rate.shrunk),
                        limits.map(|limits| limits.lower),
                        limits.map(|limits| limits.upper),
                        Some(rate.own_weight),
                    ])
                }))
            }),
        ),
        signature: "rate_shrunk(law, events, exposure)",
        about: "a cohort's rate drawn towards the law of its kind (empirical Bayes) with 95 % limits and the weight of its own count: a struct; limits are null where the kind spreads no wider than chance",
    }
}

/// A column of counts and one of exposures.
struct Counts<'a>(&'a [ArrayRef]);

impl Counts<'_> {
    fn rows(&self) -> usize {
        self.0[0].len()
    }

    fn at(&self, row: usize) -> Option<Counted> {
        let events = self.0[0].as_primitive::<Int64Type>();
        if events.is_null(row) {
            return None;
        }
        Some(Counted {
            events: u64::try_from(events.value(row)).ok()?,
            exposure: number_at(self.0[1].as_primitive::<Float64Type>(), row)?,
        })
    }
}
