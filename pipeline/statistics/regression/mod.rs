//! Fits on a design of columns: the hazard by person-periods, linear and log-linear means, all with
//! a ridge penalty, and the choice of its strength.
//!
//! Beside them the effects of instruments, which have a design of their own: one column each.
//!
//! What the columns mean, and how they are scaled, is left to the caller.

pub mod cross_validation;
pub mod design;
pub mod hazard_likelihood;
pub mod hazard_regression;
pub mod instrument_effects;
pub mod log_linear;
pub mod ridge_regression;
