//! Lives: how long things last, from ages at entry, at event and at last sight.
//!
//! Curves that assume no law, the Weibull law with its fits and limits, comparison of groups, events
//! that come again, and the age at which to replace. What hangs on measured features is left to
//! `regression`, how good a forecast was to `scores`.

pub mod aalen_johansen;
pub mod age_replacement;
pub mod censoring_weight;
pub mod kaplan_meier;
pub mod life;
pub mod log_rank;
pub mod mean_cumulative;
mod risk_set;
pub mod turnbull;
pub mod weibull;
pub mod weibull_law;
pub mod weibull_likelihood;
pub mod weibull_limits;
pub mod weibull_profile;
pub mod weibull_robust;
