//! A Weibull life: what follows from a shape and a scale.
//!
//! Never fails; ages below 0 count as 0. Estimating the two is left to `weibull`.

use statrs::function::gamma::gamma;

/// A Weibull life: survival to age t is `exp(-(t / scale)^shape)`. Both must be above 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    pub shape: f64,
    pub scale: f64,
}

impl Weibull {
    pub fn cumulative_hazard(&self, age: f64) -> f64 {
        (age.max(0.0) / self.scale).powf(self.shape)
    }

    pub fn survival(&self, age: f64) -> f64 {
        (-self.cumulative_hazard(age)).exp()
    }

    /// Failures per unit of age among those alive at `age`; infinite at age 0 for a shape below 1.
    pub fn hazard(&self, age: f64) -> f64 {
        self.shape / self.scale * (age.max(0.0) / self.scale).powf(self.shape - 1.0)
    }

    /// Chance that a life of `age` fails within the next `horizon`.
    pub fn failure_chance(&self, age: f64, horizon: f64) -> f64 {
        let so_far = self.cumulative_hazard(age);
        if so_far.is_infinite() {
            return 1.0;
        }
        let gap = self.cumulative_hazard(age + horizon) - so_far;
        -(-gap.max(0.0)).exp_m1()
    }

    /// Age by which the fraction has failed: B10 for 0.1.
    pub fn b_life(&self, fraction: f64) -> f64 {
        self.scale * (-(-fraction).ln_1p()).powf(1.0 / self.shape)
    }

    /// Mean life; infinite for shapes below some 0.006, where it passes the greatest number.
    pub fn mean(&self) -> f64 {
        self.scale * gamma(1.0 + 1.0 / self.shape)
    }

    /// Standard deviation; infinite for shapes below some 0.012.
    pub fn sd(&self) -> f64 {
        let first = gamma(1.0 + 1.0 / self.shape);
        let second = gamma(1.0 + 2.0 / self.shape);
        if second.is_infinite() {
            return f64::INFINITY;
        }
        self.scale * (second - first * first).max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extremes_are_not_nan() {
        let flat = Weibull {
            shape: 1e-3,
            scale: 50.0,
        };
        assert_eq!((flat.mean(), flat.sd()), (f64::INFINITY, f64::INFINITY));
        let steep = Weibull {
            shape: 2.0,
            scale: 1.0,
        };
        assert_eq!(steep.failure_chance(1e300, 1.0), 1.0);
        assert_eq!(steep.failure_chance(f64::MAX, f64::MAX), 1.0);
        assert!(
            Weibull {
                shape: 400.0,
                scale: 1.0
            }
            .sd()
                > 0.0
        );
    }

    #[test]
    fn a_shape_of_one_forgets_its_age() {
        let life = Weibull {
            shape: 1.0,
            scale: 50.0,
        };
        assert!((life.failure_chance(0.0, 5.0) - life.failure_chance(80.0, 5.0)).abs() < 1e-15);
        assert!((life.mean() - 50.0).abs() < 1e-12 && (life.sd() - 50.0).abs() < 1e-10);
        assert!((life.survival(life.b_life(0.1)) - 0.9).abs() < 1e-15);
    }
}
