//! Drawing rows the same way on every run and every machine.

use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Float64Array};
use arrow::datatypes::DataType;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use statistics::sample::share;

/// `sample_share(text)`.
pub fn sample_share() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "sample_share",
            vec![DataType::Utf8],
            DataType::Float64,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let texts = ColumnarValue::values_to_arrays(arguments)?;
                let shares: Float64Array = texts[0]
                    .as_string::<i32>()
                    .iter()
                    .map(|text| text.map(|text| share(text.as_bytes())))
                    .collect();
                Ok(ColumnarValue::Array(Arc::new(shares) as ArrayRef))
            }),
        ),
        signature: "sample_share(text)",
        about: "a number from 0 to below 1 that depends on the text alone and is spread evenly over texts: draw rows where it is below the share wanted",
    }
}
