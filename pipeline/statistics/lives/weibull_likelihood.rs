//! The Weibull log-likelihood of a sample and its derivatives, for lives that are censored, seen
//! late, or known only to an interval.
//!
//! Parameters are `mu = ln scale` and `s = ln sigma`, where `sigma = 1 / shape`; with
//! `z = (ln t - mu) / sigma` the cumulative hazard at age t is `exp(z)`. Fails only for unusable
//! lives. Finding the maximum is left to `weibull`, cutting the surface to `weibull_profile`.

use super::life::{IntervalLife, Life, check_interval_lives, check_lives};
use crate::input::{InputError, positive, same_length, setting};
use crate::prior::NormalPrior;

/// What is believed before the data. A shape prior of standard deviation 0 fixes the shape.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WeibullPrior {
    pub ln_shape: Option<NormalPrior>,
    pub ln_scale: Option<NormalPrior>,
}

impl WeibullPrior {
    pub(crate) fn fixed_shape(&self) -> Option<f64> {
        self.ln_shape
            .filter(|prior| prior.sd == 0.0)
            .map(|prior| prior.mean.exp())
    }

    pub(crate) fn check(&self) -> Result<(), InputError> {
        if let Some(prior) = self.ln_shape {
            setting(
                "prior mean of ln shape",
                prior.mean,
                "within 10 of 0",
                |m| m.abs() <= 10.0,
            )?;
            setting("prior sd of ln shape", prior.sd, "0 or more", |sd| {
                sd >= 0.0
            })?;
        }
        if let Some(prior) = self.ln_scale {
            setting(
                "prior mean of ln scale",
                prior.mean,
                "within 300 of 0",
                |m| m.abs() <= 300.0,
            )?;
            positive("prior sd of ln scale", prior.sd)?;
        }
        Ok(())
    }
}

/// Lives prepared for the likelihood: logarithms of their ages, taken once.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WeibullSample {
    lives: usize,
    exact_failures: usize,
    /// How many lives the exact failures stand for: as many as they are, where lives have no weights.
    failure_weight: f64,
    sum_ln_failure_age: f64,
    ln_exits: Vec<f64>,
    ln_entries: Vec<f64>,
    /// What each exit and each entry stands for; empty where each stands for one.
    exit_weights: Vec<f64>,
    entry_weights: Vec<f64>,
    /// `(ln last age alive, ln age failed by)`; the first is minus infinity at age 0.
    ln_intervals: Vec<(f64, f64)>,
    exposure: f64,
}

/// The log-likelihood at one point with its first and second derivatives in `(mu, s)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Derivatives {
    pub value: f64,
    pub by_mu: f64,
    pub by_s: f64,
    pub by_mu_mu: f64,
    pub by_mu_s: f64,
    pub by_s_s: f64,
}

/// `sum e^z`, `sum z e^z` and `sum z^2 e^z` over ages given by their logarithms, each as often as its
/// weight says, or once.
fn hazard_sums(ln_ages: &[f64], weights: &[f64], mu: f64, shape: f64) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for (at, ln_age) in ln_ages.iter().enumerate() {
        let z = (ln_age - mu) * shape;
        let hazard = weights.get(at).unwrap_or(&1.0) * z.exp();
        let first = z * hazard;
        sums[0] += hazard;
        sums[1] += first;
        sums[2] += z * first;
    }
    sums
}

/// Rising ages, each once, with what all of that age stand for: pieces of lives are cut at whole days, so of
/// millions there are a few thousand ages.
fn gather(ln_ages: &mut Vec<f64>, weights: &mut Vec<f64>) {
    let mut all: Vec<(f64, f64)> = ln_ages.drain(..).zip(weights.drain(..)).collect();
    all.sort_by(|one, other| one.0.total_cmp(&other.0));
    for alike in all.chunk_by(|one, other| one.0 == other.0) {
        ln_ages.push(alike[0].0);
        weights.push(alike.iter().map(|one| one.1).sum());
    }
}

impl WeibullSample {
    /// Prepares lives that are exact or right-censored.
    pub fn from_lives(lives: &[Life]) -> Result<Self, InputError> {
        check_lives(lives)?;
        let mut sample = Self {
            lives: lives.len(),
            ..Self::default()
        };
        sample.ln_exits.reserve_exact(lives.len());
        sample.ln_entries.reserve_exact(lives.len());
        for life in lives {
            sample.add_span(life.entry, life.exit, life.event);
        }
        Ok(sample)
    }

    /// Prepares lives that stand for so many each; no weight is negative.
    pub fn from_weighted_lives(lives: &[Life], weights: &[f64]) -> Result<Self, InputError> {
        check_lives(lives)?;
        same_length("lives", lives.len(), "weights", weights.len())?;
        let mut sample = Self {
            lives: lives.len(),
            ..Self::default()
        };
        for (index, (life, weight)) in lives.iter().zip(weights).enumerate() {
            if !(weight.is_finite() && *weight >= 0.0) {
                return Err(InputError::OutOfRange {
                    what: "weight of a life",
                    index,
                    value: *weight,
                    needed: "0 or more",
                });
            }
            let (failures, exposure, failed_ages) = (
                sample.failure_weight,
                sample.exposure,
                sample.sum_ln_failure_age,
            );
            sample.add_span(life.entry, life.exit, life.event);
            sample.exit_weights.resize(sample.ln_exits.len(), *weight);
            sample
                .entry_weights
                .resize(sample.ln_entries.len(), *weight);
            sample.failure_weight = failures + weight * (sample.failure_weight - failures);
            sample.exposure = exposure + weight * (sample.exposure - exposure);
            sample.sum_ln_failure_age =
                failed_ages + weight * (sample.sum_ln_failure_age - failed_ages);
        }
        gather(&mut sample.ln_exits, &mut sample.exit_weights);
        gather(&mut sample.ln_entries, &mut sample.entry_weights);
        Ok(sample)
    }

    /// Prepares lives of which some failed between two ages.
    pub fn from_interval_lives(lives: &[IntervalLife]) -> Result<Self, InputError> {
        check_interval_lives(lives)?;
        let mut sample = Self {
            lives: lives.len(),
            ..Self::default()
        };
        for life in lives {
            if life.is_exact() || life.is_censored() {
                sample.add_span(life.entry, life.alive_at, life.is_exact());
            } else {
                sample
                    .ln_intervals
                    .push((life.alive_at.ln(), life.failed_by.ln()));
                sample.exposure += 0.5 * (life.alive_at + life.failed_by) - life.entry;
                sample.add_entry(life.entry);
            }
        }
        Ok(sample)
    }

    fn add_span(&mut self, entry: f64, exit: f64, failed: bool) {
        if exit <= entry {
            return;
        }
        let ln_exit = exit.ln();
        self.ln_exits.push(ln_exit);
        self.add_entry(entry);
        self.exposure += exit - entry;
        if failed {
            self.exact_failures += 1;
            self.failure_weight += 1.0;
            self.sum_ln_failure_age += ln_exit;
        }
    }

    fn add_entry(&mut self, entry: f64) {
        if entry > 0.0 {
            self.ln_entries.push(entry.ln());
        }
    }

    /// Every so manieth age of each kind: a rough likeness to start from, not a sample of lives.
    pub(crate) fn thinned(&self, stride: usize) -> Self {
        let every = |ages: &[f64]| ages.iter().step_by(stride).copied().collect();
        let failures = self.exact_failures / stride;
        let of_failures = failures as f64 / self.exact_failures.max(1) as f64;
        Self {
            lives: self.lives / stride,
            exact_failures: failures,
            failure_weight: self.failure_weight * of_failures,
            sum_ln_failure_age: self.sum_ln_failure_age * of_failures,
            ln_exits: every(&self.ln_exits),
            ln_entries: every(&self.ln_entries),
            exit_weights: every(&self.exit_weights),
            entry_weights: every(&self.entry_weights),
            ln_intervals: self.ln_intervals.iter().step_by(stride).copied().collect(),
            exposure: self.exposure / stride as f64,
        }
    }

    pub fn lives(&self) -> usize {
        self.lives
    }

    /// Failures, exact or within an interval.
    pub fn failures(&self) -> usize {
        self.exact_failures + self.ln_intervals.len()
    }

    /// Time at risk, counting an interval failure at the middle of its interval.
    pub fn exposure(&self) -> f64 {
        self.exposure
    }

    /// The log-likelihood `sum ln h(exit) - H(exit) + H(entry)`, with `ln(S(l) - S(u)) + H(entry)`
    /// for a failure in `(l, u]`, plus the logarithm of the prior (less its constant).
    pub fn derivatives(&self, mu: f64, s: f64, prior: &WeibullPrior) -> Derivatives {
        let shape = (-s).exp();
        let exits = hazard_sums(&self.ln_exits, &self.exit_weights, mu, shape);
        let entries = hazard_sums(&self.ln_entries, &self.entry_weights, mu, shape);
        let [a, b, c] = [0, 1, 2].map(|power| exits[power] - entries[power]);
        let failures = self.failure_weight;
        let sum_z = (self.sum_ln_failure_age - failures * mu) * shape;
        let mut total = Derivatives {
            value: -failures * s - self.sum_ln_failure_age + sum_z - a,
            by_mu: -shape * (failures - a),
            by_s: b - failures - sum_z,
            by_mu_mu: -shape * shape * a,
            by_mu_s: shape * (failures - a - b),
            by_s_s: sum_z - b - c,
        };
        for &interval in &self.ln_intervals {
            total.add_interval(interval, mu, shape);
        }
        total.add_prior(mu, s, prior);
        total
    }
}

/// The cumulative hazard at one age with its derivatives in `(mu, s)`.
struct Hazard {
    value: f64,
    by_mu: f64,
    by_s: f64,
    by_mu_mu: f64,
    by_mu_s: f64,
    by_s_s: f64,
}

impl Hazard {
    fn at(ln_age: f64, mu: f64, shape: f64) -> Self {
        let z = (ln_age - mu) * shape;
        let value = z.exp();
        let first = if value == 0.0 { 0.0 } else { z * value };
        let second = if value == 0.0 { 0.0 } else { z * first };
        Self {
            value,
            by_mu: -shape * value,
            by_s: -first,
            by_mu_mu: shape * shape * value,
            by_mu_s: shape * (value + first),
            by_s_s: first + second,
        }
    }
}

impl Derivatives {
    /// Adds `ln(e^-a - e^-b) = -a + ln(1 - e^-(b-a))` for hazards a and b at the interval's ends.
    fn add_interval(&mut self, (ln_alive, ln_failed): (f64, f64), mu: f64, shape: f64) {
        let a = Hazard::at(ln_alive, mu, shape);
        let b = Hazard::at(ln_failed, mu, shape);
        let gap = b.value - a.value;
        // slope and curve are the first two derivatives of ln(1 - e^-gap).
        let slope = 1.0 / gap.exp_m1();
        let curve = -slope * (1.0 + slope);
        let (gap_by_mu, gap_by_s) = (b.by_mu - a.by_mu, b.by_s - a.by_s);
        self.value += (-(-gap).exp_m1()).ln() - a.value;
        self.by_mu += slope * gap_by_mu - a.by_mu;
        self.by_s += slope * gap_by_s - a.by_s;
        self.by_mu_mu +=
            curve * gap_by_mu * gap_by_mu + slope * (b.by_mu_mu - a.by_mu_mu) - a.by_mu_mu;
        self.by_mu_s += curve * gap_by_mu * gap_by_s + slope * (b.by_mu_s - a.by_mu_s) - a.by_mu_s;
        self.by_s_s += curve * gap_by_s * gap_by_s + slope * (b.by_s_s - a.by_s_s) - a.by_s_s;
    }

    fn add_prior(&mut self, mu: f64, s: f64, prior: &WeibullPrior) {
        if let Some(NormalPrior { mean, sd }) = prior.ln_shape.filter(|prior| prior.sd > 0.0) {
            let precision = 1.0 / (sd * sd);
            let off = -s - mean;
            self.value -= 0.5 * precision * off * off;
            self.by_s += precision * off;
            self.by_s_s -= precision;
        }
        if let Some(NormalPrior { mean, sd }) = prior.ln_scale {
            let precision = 1.0 / (sd * sd);
            let off = mu - mean;
            self.value -= 0.5 * precision * off * off;
            self.by_mu -= precision * off;
            self.by_mu_mu -= precision;
        }
    }

    pub(crate) fn is_finite(&self) -> bool {
        [
            self.value,
            self.by_mu,
            self.by_s,
            self.by_mu_mu,
            self.by_mu_s,
            self.by_s_s,
        ]
        .iter()
        .all(|part| part.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lives_of_one_age_are_one_age_that_stands_for_more() {
        let lives = [
            Life::failed(10.0, 400.0),
            Life::censored(10.0, 400.0),
            Life::censored(20.0, 300.0),
        ];
        let sample = WeibullSample::from_weighted_lives(&lives, &[2.0, 3.0, 5.0]).unwrap();
        assert_eq!(sample.ln_exits, [300f64.ln(), 400f64.ln()]);
        assert_eq!(sample.exit_weights, [5.0, 5.0]);
        assert_eq!(sample.entry_weights, [5.0, 5.0]);
        assert_eq!(
            (sample.lives(), sample.failures(), sample.failure_weight),
            (3, 1, 2.0)
        );
    }

    /// Analytic derivatives against central differences.
    #[test]
    fn derivatives_are_those_of_the_value() {
        let interval = |entry, alive_at, failed_by| IntervalLife {
            entry,
            alive_at,
            failed_by,
        };
        let sample = WeibullSample::from_interval_lives(&[
            interval(0.0, 0.0, 3.0),
            interval(1.0, 2.0, 5.0),
            interval(2.0, 4.0, 4.0),
            interval(0.0, 7.0, f64::INFINITY),
            interval(0.0, 0.0, f64::INFINITY),
        ])
        .unwrap();
        let prior = WeibullPrior {
            ln_shape: Some(NormalPrior { mean: 0.7, sd: 0.5 }),
            ln_scale: Some(NormalPrior { mean: 1.0, sd: 2.0 }),
        };
        let (mu, s, h) = (1.4, -0.3, 1e-5);
        let at = |mu, s| sample.derivatives(mu, s, &prior);
        let here = at(mu, s);
        let slope = |ahead: f64, behind: f64| (ahead - behind) / (2.0 * h);
        let checks = [
            (here.by_mu, slope(at(mu + h, s).value, at(mu - h, s).value)),
            (here.by_s, slope(at(mu, s + h).value, at(mu, s - h).value)),
            (
                here.by_mu_mu,
                slope(at(mu + h, s).by_mu, at(mu - h, s).by_mu),
            ),
            (
                here.by_mu_s,
                slope(at(mu, s + h).by_mu, at(mu, s - h).by_mu),
            ),
            (here.by_s_s, slope(at(mu, s + h).by_s, at(mu, s - h).by_s)),
        ];
        for (analytic, numeric) in checks {
            assert!(
                (analytic - numeric).abs() < 1e-7 * (1.0 + numeric.abs()),
                "{checks:?}"
            );
        }
    }
}
