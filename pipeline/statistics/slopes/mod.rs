//! Robust lines through readings over time, and when such a line crosses a threshold.
//!
//! Which readings belong on one line is left to the caller.

pub mod crossing;
mod slope_ranks;
pub mod theil_sen;
