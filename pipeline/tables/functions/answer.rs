//! Answers of several numbers: one struct for a group or a row, or a list of structs to UNNEST.
//!
//! What is not known or not finite is null, so no query meets NaN or infinity. What the numbers
//! mean is left to the functions that answer with them.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, Float64Array, StructArray};
use arrow::datatypes::{DataType, Field, Fields};
use datafusion::common::utils::SingleRowListArrayBuilder;
use datafusion::logical_expr::ColumnarValue;
use datafusion::scalar::ScalarValue;

/// The type of an answer with these numbers.
pub fn number_fields(names: &[&str]) -> Fields {
    names
        .iter()
        .map(|name| Field::new(*name, DataType::Float64, true))
        .collect()
}

/// The type of an answer with one such struct a step.
pub fn step_list(names: &[&str]) -> DataType {
    let step = DataType::Struct(number_fields(names));
    DataType::List(Arc::new(Field::new_list_field(step, true)))
}

/// One answer: the numbers in the order of `names`.
pub fn numbers(names: &[&str], values: &[Option<f64>]) -> ScalarValue {
    ScalarValue::Struct(Arc::new(structs(names, &[values])))
}

/// One answer of many steps.
pub fn steps<const N: usize>(names: &[&str; N], rows: &[[Option<f64>; N]]) -> ScalarValue {
    ScalarValue::List(Arc::new(
        SingleRowListArrayBuilder::new(Arc::new(structs(names, rows))).build_list_array(),
    ))
}

/// One answer a row, for a function that looks at its row alone.
pub fn struct_rows<const N: usize>(
    names: &[&str; N],
    rows: usize,
    answer: impl Fn(usize) -> Option<[Option<f64>; N]>,
) -> ColumnarValue {
    let answers: Vec<[Option<f64>; N]> = (0..rows)
        .map(|row| answer(row).unwrap_or([None; N]))
        .collect();
    ColumnarValue::Array(Arc::new(structs(names, &answers)))
}

/// A number that is there.
pub fn number_at(column: &Float64Array, row: usize) -> Option<f64> {
    column.is_valid(row).then(|| column.value(row))
}

fn structs<R: AsRef<[Option<f64>]>>(names: &[&str], rows: &[R]) -> StructArray {
    let column = |at: usize| {
        let values = rows
            .iter()
            .map(|row| row.as_ref().get(at).copied().flatten());
        let known = values.map(|value| value.filter(|value| value.is_finite()));
        Arc::new(known.collect::<Float64Array>()) as ArrayRef
    };
    let columns = (0..names.len()).map(column).collect();
    StructArray::new(number_fields(names), columns, None)
}
