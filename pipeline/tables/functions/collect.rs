//! Aggregates over whole samples: the rows of a group are collected, put in order, and given to an
//! estimator.
//!
//! The partial state is the collected columns, so states merge by joining them; sorting before the
//! estimator sees them makes the answer the same for any number of partitions. A row with a NULL, a
//! NaN or an infinity in any argument is left out, so no estimator meets one.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Float64Array};
use arrow::buffer::NullBuffer;
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Float64Type};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{Accumulator, AggregateUDF, Volatility, create_udaf};
use datafusion::scalar::ScalarValue;

/// What an estimator makes of the collected columns: whole rows of finite numbers, sorted.
pub type Finish = fn(&[Vec<f64>]) -> Result<ScalarValue>;

/// An aggregate that collects numbers (or flags, as 0 and 1).
pub fn collecting(
    name: &str,
    arguments: Vec<DataType>,
    answer: DataType,
    finish: Finish,
) -> AggregateUDF {
    let width = arguments.len();
    let list = DataType::List(Arc::new(Field::new_list_field(DataType::Float64, true)));
    create_udaf(
        name,
        arguments,
        Arc::new(answer),
        Volatility::Immutable,
        Arc::new(move |_| {
            Ok(Box::new(Collector {
                columns: vec![Vec::new(); width],
                finish,
            }) as Box<dyn Accumulator>)
        }),
        Arc::new(vec![list; width]),
    )
}

#[derive(Debug)]
struct Collector {
    columns: Vec<Vec<f64>>,
    finish: Finish,
}

impl Accumulator for Collector {
    fn update_batch(&mut self, values: &[ArrayRef]) -> Result<()> {
        let values: Vec<ArrayRef> = values
            .iter()
            .map(|column| cast(column, &DataType::Float64).map_err(DataFusionError::from))
            .collect::<Result<_>>()?;
        let nulls = values.iter().fold(None, |nulls, column| {
            NullBuffer::union(nulls.as_ref(), column.nulls())
        });
        let values: Vec<&[f64]> = values
            .iter()
            .map(|column| &column.as_primitive::<Float64Type>().values()[..])
            .collect();
        let rows = values.first().map_or(0, |column| column.len());
        let whole = |row: usize| {
            nulls.as_ref().is_none_or(|nulls| nulls.is_valid(row))
                && values.iter().all(|column| column[row].is_finite())
        };
        for row in (0..rows).filter(|row| whole(*row)) {
            for (column, values) in self.columns.iter_mut().zip(&values) {
                // One zero, so that equal rows are equal in every bit.
                column.push(values[row] + 0.0);
            }
        }
        Ok(())
    }

    fn evaluate(&mut self) -> Result<ScalarValue> {
        let rows = self.columns.first().map_or(0, Vec::len);
        let mut order: Vec<usize> = (0..rows).collect();
        order.sort_unstable_by(|a, b| {
            self.columns
                .iter()
                .map(|column| column[*a].total_cmp(&column[*b]))
                .find(|order| order.is_ne())
                .unwrap_or(std::cmp::Ordering::Equal)
        });
        let sorted: Vec<Vec<f64>> = self
            .columns
            .iter()
            .map(|column| order.iter().map(|row| column[*row]).collect())
            .collect();
        (self.finish)(&sorted)
    }

    fn size(&self) -> usize {
        size_of_val(self)
            + self
                .columns
                .iter()
                .map(|column| column.capacity() * size_of::<f64>())
                .sum::<usize>()
    }

    fn state(&mut self) -> Result<Vec<ScalarValue>> {
        Ok(self
            .columns
            .iter_mut()
            .map(|column| {
                let values = Arc::new(Float64Array::from(std::mem::take(column))) as ArrayRef;
                ScalarValue::List(Arc::new(
                    datafusion::common::utils::SingleRowListArrayBuilder::new(values)
                        .build_list_array(),
                ))
            })
            .collect())
    }

    fn merge_batch(&mut self, states: &[ArrayRef]) -> Result<()> {
        for (column, state) in self.columns.iter_mut().zip(states) {
            for part in state.as_list::<i32>().iter().flatten() {
                column.extend_from_slice(part.as_primitive::<Float64Type>().values());
            }
        }
        Ok(())
    }
}
