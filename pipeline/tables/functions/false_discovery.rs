//! Many tests at once, in SQL: each p adjusted for all of its window.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Float64Array};
use arrow::datatypes::{DataType, Float64Type};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{PartitionEvaluator, Volatility, WindowUDF, create_udwf};

use super::Documented;
use statistics::rates::false_discovery;

/// `adjusted_p(p) OVER (PARTITION BY ...)`.
pub fn adjusted_p() -> Documented<WindowUDF> {
    Documented {
        function: create_udwf(
            "adjusted_p",
            DataType::Float64,
            Arc::new(DataType::Float64),
            Volatility::Immutable,
            Arc::new(|| Ok(Box::new(WholeWindow))),
        ),
        signature: "adjusted_p(p)",
        about: "p adjusted for every test of its PARTITION BY (Benjamini and Hochberg): of those raised at or below q at most the share q is expected to be false; a null p is no test and stays null",
    }
}

#[derive(Debug)]
struct WholeWindow;

impl PartitionEvaluator for WholeWindow {
    fn evaluate_all(&mut self, values: &[ArrayRef], _rows: usize) -> Result<ArrayRef> {
        let column = values[0].as_primitive::<Float64Type>();
        let tested: Vec<usize> = (0..column.len())
            .filter(|row| column.is_valid(*row) && !column.value(*row).is_nan())
            .collect();
        // A chance summed from many terms may end a rounding beyond 0 or 1.
        let p: Vec<f64> = tested
            .iter()
            .map(|row| column.value(*row).clamp(0.0, 1.0))
            .collect();
        let adjusted = false_discovery::adjusted_p(&p)
            .map_err(|error| DataFusionError::Execution(format!("adjusted_p: {error}")))?;
        let mut answer: Vec<Option<f64>> = vec![None; column.len()];
        for (row, adjusted) in tested.into_iter().zip(adjusted) {
            answer[row] = Some(adjusted);
        }
        Ok(Arc::new(Float64Array::from(answer)))
    }
}
