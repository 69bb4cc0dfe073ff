//! Survival without a model: Kaplan-Meier and Nelson-Aalen with late entry.
//!
//! Fails for unusable lives and for a restricted mean past the last follow-up. Comparing groups is
//! left to `log_rank`, ends other than failure to `aalen_johansen`, failures known only to an
//! interval to `turnbull`.

use super::life::{Life, check_lives};
use super::risk_set::{AgeIndex, RiskSet};
use crate::input::{InputError, not_negative};
use crate::limits::{Limits, two_sided_z};

/// Rounding allowed when survival is compared with a quantile.
const SURVIVAL_ROUNDING: f64 = 1e-12;

/// The curve just after one age at which something failed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalStep {
    pub age: f64,
    /// Lives with `entry < age <= exit`.
    pub at_risk: usize,
    pub events: usize,
    pub survival: f64,
    /// Greenwood's standard error; `None` once survival is 0.
    pub survival_se: Option<f64>,
    /// Limits on the log(-log) scale; `None` once survival is 0.
    pub limits: Option<Limits>,
    /// Nelson-Aalen cumulative hazard, the sum of events / at risk.
    pub cumulative_hazard: f64,
    /// Square root of the sum of events / at risk squared.
    pub cumulative_hazard_se: f64,
}

/// A survival curve as its steps in order of age.
#[derive(Debug, Clone, PartialEq)]
pub struct SurvivalCurve {
    pub steps: Vec<SurvivalStep>,
    pub lives: usize,
    /// Failures the steps count.
    pub events: usize,
    /// The curve is the chance to live on, given survival to this age; 0 for a whole life.
    pub given_age: f64,
    /// Failures at or before `given_age`, which the curve does not count.
    pub earlier_events: usize,
    /// The greatest age anything was seen at.
    pub last_age: f64,
    pub confidence: f64,
}

/// An age at which survival first falls to a given level, with its limits; `None`: not reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalQuantile {
    pub age: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Mean life up to an age limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestrictedMean {
    pub mean: f64,
    pub se: f64,
}

/// The survival curve of lives with late entry and right censoring.
///
/// `S(t) = prod (1 - d/n)` over failure ages (Kaplan and Meier 1958) with Greenwood's variance
/// `S^2 sum d/(n(n-d))` and limits `S^exp(-+z se)` on the log(-log) scale (Kalbfleisch and
/// Prentice 1980). With late entry the first risk sets can be so small that failures empty one of
/// them, which would hold the curve at 0 for good although older lives follow. The curve then
/// starts anew as survival given that age: see `given_age`. Where more failures lie before such an
/// age than after it, the curve ends there at 0 instead, as it would with nobody older. Across ages at which nothing is at
/// risk the curve stays level.
pub fn kaplan_meier(lives: &[Life], confidence: f64) -> Result<SurvivalCurve, InputError> {
    kaplan_meier_given(lives, 0.0, confidence)
}

/// The survival curve given survival to `given_age`; lives that ended by then are left out.
pub fn kaplan_meier_given(
    lives: &[Life],
    given_age: f64,
    confidence: f64,
) -> Result<SurvivalCurve, InputError> {
    let z = two_sided_z(confidence)?;
    not_negative("age given", given_age)?;
    let last_age = check_lives(lives)?.max(given_age);
    let ended_by = |life: &&Life| life.event && life.exit <= given_age;
    let early = if given_age > 0.0 {
        lives.iter().filter(ended_by).count()
    } else {
        0
    };
    let followed = lives.iter().filter(|life| life.exit > given_age);
    let failures = followed.clone().filter(|life| life.event);
    let all = failures.clone().count();
    let index = AgeIndex::new(failures.map(|life| life.exit));
    let mut curve = SurvivalCurve {
        steps: Vec::with_capacity(index.ages.len()),
        lives: lives.len(),
        events: 0,
        given_age,
        earlier_events: early,
        last_age,
        confidence,
    };
    let mut running = Running::default();
    for set in index.risk_sets(followed.map(|l| (l.entry.max(given_age), l.exit, l.event))) {
        curve.events += set.events;
        let emptied = set.emptied_early;
        if emptied && 2 * curve.events <= all {
            curve.steps.clear();
            curve.given_age = set.age;
            curve.earlier_events += std::mem::take(&mut curve.events);
            running = Running::default();
        } else {
            curve.steps.push(running.step(set, z));
            if emptied {
                break;
            }
        }
    }
    Ok(curve)
}

/// The sums a curve carries from step to step.
struct Running {
    survival: f64,
    greenwood: f64,
    hazard: f64,
    hazard_variance: f64,
}

impl Default for Running {
    fn default() -> Self {
        Self {
            survival: 1.0,
            greenwood: 0.0,
            hazard: 0.0,
            hazard_variance: 0.0,
        }
    }
}

impl Running {
    fn step(&mut self, set: RiskSet, z: f64) -> SurvivalStep {
        let RiskSet {
            age,
            at_risk,
            events,
            ..
        } = set;
        let (n, d) = (at_risk as f64, events as f64);
        self.survival *= (n - d) / n;
        self.hazard += d / n;
        self.hazard_variance += d / (n * n);
        let alive = events < at_risk;
        if alive {
            self.greenwood += d / (n * (n - d));
        }
        let root = self.greenwood.sqrt();
        SurvivalStep {
            age,
            at_risk,
            events,
            survival: self.survival,
            survival_se: alive.then_some(self.survival * root),
            limits: alive.then(|| log_log_limits(self.survival, root, z)),
            cumulative_hazard: self.hazard,
            cumulative_hazard_se: self.hazard_variance.sqrt(),
        }
    }
}

/// `S^exp(+-z se / |ln S|)`, for a chance S strictly between 0 and 1 and the standard error of its
/// logarithm.
pub(crate) fn log_log_limits(chance: f64, se_of_log: f64, z: f64) -> Limits {
    let log_chance = chance.ln();
    let spread = (z * se_of_log / log_chance.abs()).exp();
    Limits {
        lower: (log_chance * spread).exp(),
        upper: (log_chance / spread).exp(),
    }
}

impl SurvivalCurve {
    /// The last step at or before `age`; `None` before the first failure, where survival is 1.
    pub fn step_at(&self, age: f64) -> Option<&SurvivalStep> {
        let after = self.steps.partition_point(|step| step.age <= age);
        self.steps[..after].last()
    }

    /// Survival at `age`; `None` past the last follow-up, unless the curve has reached 0.
    pub fn survival_at(&self, age: f64) -> Option<f64> {
        let survival = self.step_at(age).map_or(1.0, |step| step.survival);
        (age <= self.last_age || survival == 0.0).then_some(survival)
    }

    /// The first age at which survival is at most `survival`, with the ages at which its limits
    /// are (Brookmeyer and Crowley 1982).
    pub fn quantile(&self, survival: f64) -> SurvivalQuantile {
        let first = |below: &dyn Fn(&SurvivalStep) -> bool| {
            self.steps
                .iter()
                .find(|&step| below(step))
                .map(|step| step.age)
        };
        let level = survival + SURVIVAL_ROUNDING;
        SurvivalQuantile {
            age: first(&|step| step.survival <= level),
            lower: first(&|step| step.limits.map_or(step.survival, |limits| limits.lower) <= level),
            upper: first(&|step| step.limits.is_some_and(|limits| limits.upper <= level)),
        }
    }

    /// The age by which half have failed.
    pub fn median(&self) -> SurvivalQuantile {
        self.quantile(0.5)
    }

    /// Mean life between `given_age` and `until`: the area under the curve, with variance
    /// `sum A^2 d/(n(n-d))` where `A` is the area from the failure to `until` (Klein and
    /// Moeschberger 2003, section 4.5).
    pub fn restricted_mean(&self, until: f64) -> Result<RestrictedMean, InputError> {
        let ends_at_zero = self.steps.last().is_some_and(|step| step.survival == 0.0);
        if !(until <= self.last_age || ends_at_zero && until.is_finite()) {
            return Err(InputError::BeyondFollowUp {
                time: until,
                last: self.last_age,
            });
        }
        let after = self.steps.partition_point(|step| step.age <= until);
        let (mut end, mut area, mut variance) = (until.max(self.given_age), 0.0, 0.0);
        for step in self.steps[..after].iter().rev() {
            area += step.survival * (end - step.age);
            end = step.age;
            let (n, d) = (step.at_risk as f64, step.events as f64);
            if step.events < step.at_risk {
                variance += area * area * d / (n * (n - d));
            }
        }
        Ok(RestrictedMean {
            mean: area + end - self.given_age,
            se: f64::sqrt(variance),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_failures_the_curve_has_no_steps_and_stays_at_one() {
        let curve = kaplan_meier(&[Life::censored(0.0, 4.0)], 0.95).unwrap();
        assert_eq!((curve.steps.len(), curve.survival_at(4.0)), (0, Some(1.0)));
        assert_eq!(curve.survival_at(4.1), None);
        assert_eq!(curve.median().age, None);
        assert_eq!(
            curve.restricted_mean(3.0).unwrap(),
            RestrictedMean { mean: 3.0, se: 0.0 }
        );
        assert!(curve.restricted_mean(5.0).is_err());
    }

    #[test]
    fn one_failure_ends_the_curve_without_limits() {
        let curve = kaplan_meier(&[Life::failed(0.0, 4.0)], 0.95).unwrap();
        let step = curve.steps[0];
        assert_eq!(
            (step.survival, step.limits, step.survival_se),
            (0.0, None, None)
        );
        assert_eq!(curve.median().age, Some(4.0));
        assert_eq!(curve.restricted_mean(9.0).unwrap().mean, 4.0);
    }

    #[test]
    fn an_early_lone_failure_does_not_hold_the_curve_at_zero() {
        let lives = [
            Life::failed(0.0, 1.0),
            Life::failed(2.0, 5.0),
            Life::censored(2.0, 6.0),
            Life::censored(3.0, 6.0),
        ];
        let curve = kaplan_meier(&lives, 0.95).unwrap();
        assert_eq!(
            (curve.given_age, curve.earlier_events, curve.events),
            (1.0, 1, 1)
        );
        assert!((curve.survival_at(5.0).unwrap() - 2.0 / 3.0).abs() < 1e-15);
    }

    #[test]
    fn a_curve_given_an_age_is_the_ratio_of_the_whole_curve() {
        let lives: Vec<Life> = (1..40)
            .map(|day| Life {
                entry: 0.0,
                exit: f64::from(day),
                event: day % 3 != 0,
            })
            .collect();
        let whole = kaplan_meier(&lives, 0.95).unwrap();
        let given = kaplan_meier_given(&lives, 10.0, 0.95).unwrap();
        let ratio = whole.survival_at(25.0).unwrap() / whole.survival_at(10.0).unwrap();
        assert!((given.survival_at(25.0).unwrap() - ratio).abs() < 1e-14);
    }
}
