//! A normal belief about one parameter before the data, shared by the fits that take one.

/// A normal penalty on one parameter, as its mean and standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalPrior {
    pub mean: f64,
    pub sd: f64,
}
