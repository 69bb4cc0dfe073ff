//! Estimators of life and failure on plain slices.
//!
//! Each file is one estimator or one close family, and knows nothing of batteries, tables or SQL.
//! Every function is pure and repeatable. Input that cannot be used fails with a typed error that
//! names the row; where an answer does not exist (a limit that is never reached, say) it is `None`
//! or an infinite end as documented, never NaN. Collecting the rows is left to the caller.

pub mod aalen_johansen;
pub mod age_replacement;
pub mod brier;
pub mod calibration;
pub mod censoring_weight;
pub mod concordance;
pub mod cross_validation;
pub mod crossing;
pub mod distributions;
pub mod exact_share;
pub mod false_discovery;
pub mod funnel;
pub mod gamma_poisson;
pub mod hazard_likelihood;
pub mod hazard_regression;
pub mod input;
pub mod kaplan_meier;
pub mod lift;
pub mod limits;
pub mod lives;
pub mod log_linear;
pub mod log_rank;
pub mod mean_cumulative;
pub mod negative_binomial;
pub mod poisson_rate;
pub mod prior;
pub mod rate_trend;
pub mod ridge_regression;
mod risk_set;
pub mod sample;
pub mod theil_sen;
pub mod turnbull;
pub mod weibull;
pub mod weibull_law;
pub mod weibull_likelihood;
pub mod weibull_limits;
pub mod weibull_profile;
pub mod wilson;

pub use input::{FitError, InputError};
pub use limits::Limits;
pub use lives::{IntervalLife, Life};
