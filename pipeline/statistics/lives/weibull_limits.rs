//! Limits of what follows from a Weibull fit, from its covariance by the delta method.
//!
//! Fails for a confidence, fraction, age or horizon out of range. With few failures the limits of
//! `weibull_profile` are truer.

use super::weibull::WeibullFit;
use crate::input::{InputError, not_negative, open_unit, positive};
use crate::limits::{Limits, two_sided_z};

impl WeibullFit {
    /// Variance of `by_mu * ln scale + by_s * ln sigma`.
    fn variance_of(&self, by_mu: f64, by_s: f64) -> f64 {
        let variance = by_mu * by_mu * self.ln_scale_variance
            + 2.0 * by_mu * by_s * self.covariance
            + by_s * by_s * self.ln_sigma_variance;
        variance.max(0.0)
    }

    pub fn shape_se(&self) -> f64 {
        self.law.shape * self.ln_sigma_variance.sqrt()
    }

    pub fn scale_se(&self) -> f64 {
        self.law.scale * self.ln_scale_variance.sqrt()
    }

    /// Limits of the shape, normal in its logarithm.
    pub fn shape_limits(&self, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        Ok(Limits::log_normal(
            self.law.shape,
            z,
            self.ln_sigma_variance.sqrt(),
        ))
    }

    /// Limits of the scale, normal in its logarithm.
    pub fn scale_limits(&self, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        Ok(Limits::log_normal(
            self.law.scale,
            z,
            self.ln_scale_variance.sqrt(),
        ))
    }

    /// Standard error of the logarithm of a B-life: `ln B = mu + k sigma`, `k = ln(-ln(1-p))`.
    pub fn ln_b_life_se(&self, fraction: f64) -> Result<f64, InputError> {
        open_unit("fraction failed", fraction)?;
        let k = (-(-fraction).ln_1p()).ln();
        Ok(self.variance_of(1.0, k / self.law.shape).sqrt())
    }

    /// Delta-method limits of a B-life, normal in its logarithm.
    pub fn b_life_limits(&self, fraction: f64, confidence: f64) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        let se = self.ln_b_life_se(fraction)?;
        Ok(Limits::log_normal(self.law.b_life(fraction), z, se))
    }

    /// Delta-method limits of survival to `age`, normal in `z = (ln age - mu) / sigma`.
    pub fn survival_limits(&self, age: f64, confidence: f64) -> Result<Limits, InputError> {
        positive("age", age)?;
        let failed = self.failure_chance_limits(0.0, age, confidence)?;
        Ok(Limits {
            lower: 1.0 - failed.upper,
            upper: 1.0 - failed.lower,
        })
    }

    /// Delta-method limits of the chance that a life of `age` fails within `horizon`, normal in
    /// the logarithm of the hazard gathered over the horizon (the complementary log-log scale).
    pub fn failure_chance_limits(
        &self,
        age: f64,
        horizon: f64,
        confidence: f64,
    ) -> Result<Limits, InputError> {
        let z = two_sided_z(confidence)?;
        not_negative("age", age)?;
        positive("horizon", horizon)?;
        let part = |age: f64| {
            let hazard = self.law.cumulative_hazard(age);
            (
                hazard,
                if hazard > 0.0 {
                    hazard * hazard.ln()
                } else {
                    0.0
                },
            )
        };
        let ((early, early_slope), (late, late_slope)) = (part(age), part(age + horizon));
        let gap = late - early;
        if gap.is_nan() || gap <= 0.0 || gap.is_infinite() {
            let chance = self.law.failure_chance(age, horizon);
            return Ok(Limits {
                lower: chance,
                upper: chance,
            });
        }
        let by_s = -(late_slope - early_slope) / gap;
        let se = self.variance_of(-self.law.shape, by_s).sqrt();
        Ok(Limits::log_normal(gap, z, se).map(|gathered| -(-gathered).exp_m1()))
    }
}

#[cfg(test)]
mod tests {
    use crate::lives::life::Life;
    use crate::lives::weibull::fit_weibull;

    #[test]
    fn chances_stay_between_zero_and_one() {
        let lives: Vec<Life> = (1..=30)
            .map(|unit| Life {
                entry: 0.0,
                exit: f64::from(unit * 7 % 31),
                event: unit % 3 != 0,
            })
            .collect();
        let fit = fit_weibull(&lives).unwrap();
        for (age, horizon) in [
            (0.0, 1e-300),
            (0.0, 1.0),
            (10.0, 5.0),
            (1e6, 1e6),
            (1e300, 1e300),
        ] {
            let limits = fit.failure_chance_limits(age, horizon, 0.95).unwrap();
            let chance = fit.law.failure_chance(age, horizon);
            assert!(
                limits.lower >= 0.0 && limits.upper <= 1.0,
                "{age} {horizon} {limits:?}"
            );
            assert!(limits.contains(chance), "{chance} {limits:?}");
        }
    }
}
