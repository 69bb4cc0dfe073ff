//! How good forecasts were: calibration, order, sharpness and gain over chance.
//!
//! Judges chances that are given; making them is left to `regression` and `lives`.

pub mod brier;
pub mod calibration;
pub mod concordance;
pub mod lift;
