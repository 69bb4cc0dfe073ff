//! The SQL functions of our own: one list, registered in one place.
//!
//! Aggregates keep mergeable partial states and answer the same whatever the partitions; scalar
//! functions look at their row alone. So a query that uses them can run anywhere.

mod answer;
mod collect;
mod compare;
mod counts;
mod curves;
mod days;
mod false_discovery;
mod instruments;
mod life;
mod rate;
mod recovery;
pub mod sample;
mod shares;
mod slope;
mod trade_rules;

use std::sync::Arc;

use datafusion::logical_expr::{AggregateUDF, ScalarUDF, WindowUDF};
use datafusion::prelude::SessionContext;

use trade::code_group::CodeGroups;

/// A function with the line that documents it.
pub struct Documented<F> {
    pub function: F,
    pub signature: &'static str,
    pub about: &'static str,
}

/// Every aggregate function.
pub fn aggregates() -> Vec<Documented<AggregateUDF>> {
    vec![
        life::weibull_life(),
        curves::survival_steps(),
        curves::interval_steps(),
        curves::incidence_steps(),
        curves::mean_cumulative_steps(),
        compare::log_rank(),
        compare::log_rank_within(),
        compare::mean_life_until(),
        rate::rate_law(),
        slope::robust_slope(),
        counts::count_law(),
        counts::usual_law(),
        instruments::instrument_factors(),
    ]
}

/// Every scalar function; `groups` are the code groups of the lake.
pub fn scalars(groups: Arc<CodeGroups>) -> Vec<Documented<ScalarUDF>> {
    vec![
        trade_rules::read_battery_test(),
        trade_rules::code_group(groups),
        trade_rules::date_code_month(),
        trade_rules::visit_reason(),
        days::days_between(),
        days::day_plus(),
        days::iso_week(),
        rate::rate_limits(),
        rate::rate_change(),
        rate::rate_shrunk(),
        life::weibull_chance(),
        counts::count_tail(),
        shares::share_limits(),
        shares::exact_share_limits(),
        shares::funnel_place(),
        recovery::recovery_cases(),
        sample::sample_share(),
    ]
}

/// Every function of a window.
pub fn windows() -> Vec<Documented<WindowUDF>> {
    vec![false_discovery::adjusted_p()]
}

/// Makes every function known to a session.
pub fn register_all(context: &SessionContext, groups: Arc<CodeGroups>) {
    for aggregate in aggregates() {
        context.register_udaf(aggregate.function);
    }
    for scalar in scalars(groups) {
        context.register_udf(scalar.function);
    }
    for window in windows() {
        context.register_udwf(window.function);
    }
}
