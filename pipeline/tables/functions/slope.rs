//! Robust trends in SQL: the Theil–Sen slope with its interval.

use arrow::datatypes::DataType;
use datafusion::logical_expr::AggregateUDF;

use super::Documented;
use super::answer::{number_fields, numbers};
use super::collect::collecting;
use statistics::slopes::theil_sen::theil_sen;

const LINE: [&str; 6] = [
    "slope",
    "slope_lower",
    "slope_upper",
    "intercept",
    "points",
    "points_used",
];

/// `robust_slope(x, y)`.
pub fn robust_slope() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "robust_slope",
            vec![DataType::Float64, DataType::Float64],
            DataType::Struct(number_fields(&LINE)),
            |columns| {
                let [x, y] = columns else {
                    return Ok(numbers(&LINE, &[None; LINE.len()]));
                };
                let line = theil_sen(x, y, 0.95).ok();
                let limits = line.as_ref().and_then(|line| line.slope_limits);
                Ok(numbers(
                    &LINE,
                    &[
                        line.as_ref().map(|line| line.slope),
                        limits.map(|limits| limits.lower),
                        limits.map(|limits| limits.upper),
                        line.as_ref().map(|line| line.intercept),
                        Some(x.len() as f64),
                        line.as_ref().map(|line| line.points_used as f64),
                    ],
                ))
            },
        ),
        signature: "robust_slope(x, y)",
        about: "Theil–Sen slope of y over x with its 95 % interval, the intercept and the number of points: a struct; the slope is null below two distinct x; above 20,000 points neighbours in x are first made one by their medians, and points_used says how many are left",
    }
}
