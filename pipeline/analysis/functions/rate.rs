//! Failure rates in SQL: exact limits for a count over an exposure.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Float64Array, StructArray};
use arrow::datatypes::{DataType, Float64Type, Int64Type};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use super::collect::number_fields;
use crate::statistics::poisson_rate::poisson_rate;

const RATE: [&str; 3] = ["rate", "lower", "upper"];

/// `rate_limits(events, exposure)`.
pub fn rate_limits() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "rate_limits",
            vec![DataType::Int64, DataType::Float64],
            DataType::Struct(number_fields(&RATE)),
            Volatility::Immutable,
            Arc::new(limits),
        ),
        signature: "rate_limits(events, exposure)",
        about: "events per unit of exposure with exact (Garwood) 95 % limits: a struct; null without exposure",
    }
}

fn limits(arguments: &[ColumnarValue]) -> Result<ColumnarValue> {
    let arrays = ColumnarValue::values_to_arrays(arguments)?;
    let [events, exposures] = &arrays[..] else {
        return Err(DataFusionError::Plan(
            "rate_limits takes a count and an exposure".to_owned(),
        ));
    };
    let events = events.as_primitive::<Int64Type>();
    let exposures = exposures.as_primitive::<Float64Type>();
    let answers: Vec<Option<[f64; 3]>> = (0..events.len())
        .map(|row| {
            if events.is_null(row) || exposures.is_null(row) {
                return None;
            }
            let count = u64::try_from(events.value(row)).ok()?;
            let rate = poisson_rate(count, exposures.value(row), 1.0, 0.95).ok()?;
            Some([rate.rate, rate.limits.lower, rate.limits.upper])
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
        number_fields(&RATE),
        vec![column(0), column(1), column(2)],
        None,
    ))))
}
