//! Estimators of life and failure on plain slices.
//!
//! Each file is one estimator or one close family, and knows nothing of batteries, tables or SQL.
//! Every function is pure and repeatable. Input that cannot be used fails with a typed error that
//! names the row; where an answer does not exist (a limit that is never reached, say) it is `None`
//! or an infinite end as documented, never NaN. Collecting the rows is left to the caller.
//!
//! What all estimators share stands here; `scores` builds on `lives`, the other folders on that
//! alone.

pub mod distributions;
pub mod input;
pub mod limits;
pub mod lives;
pub mod prior;
pub mod rates;
pub mod regression;
pub mod sample;
pub mod scores;
pub mod slopes;

pub use input::{FitError, InputError};
pub use limits::Limits;
pub use lives::life::{IntervalLife, Life};
