//! The SQL functions of our own: one list, registered in one place.
//!
//! Aggregates keep mergeable partial states and answer the same whatever the partitions; scalar
//! functions look at their row alone. So a query that uses them can run anywhere.

mod collect;
mod life;
mod rate;
mod slope;

use datafusion::logical_expr::{AggregateUDF, ScalarUDF};
use datafusion::prelude::SessionContext;

/// A function with the line that documents it.
pub struct Documented<F> {
    pub function: F,
    pub signature: &'static str,
    pub about: &'static str,
}

/// Every aggregate function.
pub fn aggregates() -> Vec<Documented<AggregateUDF>> {
    vec![life::weibull_life(), life::survival_steps(), slope::robust_slope()]
}

/// Every scalar function.
pub fn scalars() -> Vec<Documented<ScalarUDF>> {
    vec![rate::rate_limits(), life::weibull_chance()]
}

/// Makes every function known to a session.
pub fn register_all(context: &SessionContext) {
    for aggregate in aggregates() {
        context.register_udaf(aggregate.function);
    }
    for scalar in scalars() {
        context.register_udf(scalar.function);
    }
}
