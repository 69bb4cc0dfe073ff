//! Counts, rates and shares: their limits, how they differ, and which stand out among many.
//!
//! Time enters only as the exposure that is counted over; lives one by one are left to `lives`.

pub mod exact_share;
pub mod false_discovery;
pub mod funnel;
pub mod gamma_poisson;
pub mod negative_binomial;
pub mod poisson_rate;
pub mod rate_trend;
pub mod usual_counts;
pub mod weighted_count;
pub mod wilson;
