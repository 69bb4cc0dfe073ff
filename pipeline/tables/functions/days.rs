//! Calendar days in SQL: differences and steps in whole days, and the ISO week.

use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Date32Array, Int64Array, StringArray};
use arrow::datatypes::{DataType, Date32Type, Int64Type};
use chrono::Datelike;
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;

/// `days_between(from, to)`.
pub fn days_between() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "days_between",
            vec![DataType::Date32, DataType::Date32],
            DataType::Int64,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let days = ColumnarValue::values_to_arrays(arguments)?;
                let from = days[0].as_primitive::<Date32Type>();
                let to = days[1].as_primitive::<Date32Type>();
                answer(Arc::new(
                    from.iter()
                        .zip(to)
                        .map(|(from, to)| Some(i64::from(to?) - i64::from(from?)))
                        .collect::<Int64Array>(),
                ))
            }),
        ),
        signature: "days_between(from, to)",
        about: "whole days from one day to another, negative where the second is earlier",
    }
}

/// `day_plus(day, days)`.
pub fn day_plus() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "day_plus",
            vec![DataType::Date32, DataType::Int64],
            DataType::Date32,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let days = arrays[0].as_primitive::<Date32Type>();
                let steps = arrays[1].as_primitive::<Int64Type>();
                answer(Arc::new(
                    days.iter()
                        .zip(steps)
                        .map(|(day, step)| day?.checked_add(i32::try_from(step?).ok()?))
                        .collect::<Date32Array>(),
                ))
            }),
        ),
        signature: "day_plus(day, days)",
        about: "the day so many days later, earlier where the number is negative",
    }
}

/// `iso_week(day)`.
pub fn iso_week() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "iso_week",
            vec![DataType::Date32],
            DataType::Utf8,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let days = arrays[0].as_primitive::<Date32Type>();
                answer(Arc::new(
                    days.iter()
                        .map(|day| {
                            let week = Date32Type::to_naive_date_opt(day?)?.iso_week();
                            Some(format!("{}-W{:02}", week.year(), week.week()))
                        })
                        .collect::<StringArray>(),
                ))
            }),
        ),
        signature: "iso_week(day)",
        about: "the ISO 8601 week of a day, such as 2026-W07",
    }
}

fn answer(values: ArrayRef) -> Result<ColumnarValue> {
    Ok(ColumnarValue::Array(values))
}
