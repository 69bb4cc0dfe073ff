//! The law of battery lives that new life is priced by: what is usual, and what this fleet shows.
//!
//! With few failures a fit says little, and what is usual of batteries stands in: it counts as ten
//! failures, so that a price moves smoothly from the one to the other. For a Weibull law of known shape the
//! power `scale^shape` has a conjugate inverse gamma law (Soland, IEEE Transactions on Reliability 18:181,
//! 1969): its mean about is the gathered `exit^shape - entry^shape` over the failures, both with what the
//! prior counts for. The fleet is held against what is usual of its chemistries, then each chemistry
//! against the fleet.

use std::collections::BTreeMap;

use super::features::usual_life_years;
use statistics::lives::weibull_law::Weibull;

/// Failures that what is usual counts for. A judgement, no source.
const PRIOR_FAILURES: f64 = 10.0;

/// Batteries wear out with about this Weibull shape. `common practice, no source`
const USUAL_SHAPE: f64 = 2.5;

const DAYS_A_MONTH: f64 = 30.4375;

/// A battery's life as it was observed.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    pub chemistry: Option<String>,
    pub entry_days: f64,
    pub exit_days: f64,
    pub failed: bool,
}

/// Laws of life by chemistry.
pub struct LifeLaws {
    shape: f64,
    flooded_months: f64,
    /// How much longer the fleet's batteries last than usual, in the power `shape` of time.
    fleet: f64,
    /// And those of a chemistry than the fleet's.
    own: BTreeMap<String, f64>,
}

impl LifeLaws {
    /// `fitted_shape` is that of the fleet's fit with its failures, where there is one.
    pub fn new(lives: &[Life], fitted_shape: Option<(f64, f64)>, flooded_months: f64) -> Self {
        let shape = match fitted_shape {
            Some((shape, failures)) if shape > 0.0 && shape.is_finite() => {
                let weight = failures / (failures + PRIOR_FAILURES);
                (weight * shape.ln() + (1.0 - weight) * USUAL_SHAPE.ln()).exp()
            }
            _ => USUAL_SHAPE,
        };
        let mut laws = Self {
            shape,
            flooded_months,
            fleet: 1.0,
            own: BTreeMap::new(),
        };
        let (mut failures, mut gathered) = (0.0, 0.0);
        let mut by_chemistry: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
        for life in lives {
            let scale = laws.usual_scale(life.chemistry.as_deref());
            let power = |days: f64| (days.max(0.0) / scale).powf(shape);
            let lived = (power(life.exit_days) - power(life.entry_days)).max(0.0);
            let failed = if life.failed { 1.0 } else { 0.0 };
            failures += failed;
            gathered += lived;
            if let Some(chemistry) = life.chemistry.as_deref() {
                let sums = by_chemistry.entry(chemistry).or_default();
                sums.0 += failed;
                sums.1 += lived;
            }
        }
        laws.fleet = (PRIOR_FAILURES + gathered) / (PRIOR_FAILURES + failures);
        laws.own = by_chemistry
            .into_iter()
            .map(|(chemistry, (failures, gathered))| {
                let against_fleet = gathered / laws.fleet;
                let factor = (PRIOR_FAILURES + against_fleet) / (PRIOR_FAILURES + failures);
                (chemistry.to_owned(), factor)
            })
            .collect();
        laws
    }

    /// The law of a chemistry, or of batteries whose chemistry is not known.
    pub fn of(&self, chemistry: Option<&str>) -> Weibull {
        let own = chemistry
            .and_then(|chemistry| self.own.get(chemistry))
            .copied();
        let power = self.fleet * own.unwrap_or(1.0);
        Weibull {
            shape: self.shape,
            scale: self.usual_scale(chemistry) * power.powf(1.0 / self.shape),
        }
    }

    /// The scale that gives the usual mean life.
    fn usual_scale(&self, chemistry: Option<&str>) -> f64 {
        let against_flooded = usual_life_years(chemistry) / usual_life_years(Some("flooded"));
        let unit = Weibull {
            shape: self.shape,
            scale: 1.0,
        };
        self.flooded_months * DAYS_A_MONTH * against_flooded / unit.mean()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lives(count: usize, failed: usize, exit_days: f64) -> Vec<Life> {
        (0..count)
            .map(|at| Life {
                chemistry: Some("flooded".to_owned()),
                entry_days: 0.0,
                exit_days,
                failed: at < failed,
            })
            .collect()
    }

    #[test]
    fn without_lives_it_is_what_is_usual() {
        let laws = LifeLaws::new(&[], None, 55.0);
        let flooded = laws.of(Some("flooded"));
        assert_eq!(flooded.shape, 2.5);
        assert!((flooded.mean() / DAYS_A_MONTH - 55.0).abs() < 1e-9);
        // Lithium has no failures of its own and is not priced by lead-acid lives.
        assert!(laws.of(Some("lithium")).mean() > 1.5 * flooded.mean());
    }

    #[test]
    fn there_is_no_step_at_any_failure() {
        let mut last = None;
        for failed in 0..60 {
            let laws = LifeLaws::new(&lives(400, failed, 900.0), Some((2.5, failed as f64)), 55.0);
            let scale = laws.of(Some("flooded")).scale;
            if let Some(last) = last {
                let step: f64 = scale / last;
                assert!((0.90..1.0).contains(&step), "{failed}: {step}");
            }
            last = Some(scale);
        }
    }

    #[test]
    fn with_many_failures_it_is_what_the_fleet_shows() {
        // All of 20,000 fail at 1,000 days under a known shape: scale^k = 1,000^k.
        let laws = LifeLaws::new(&lives(20_000, 20_000, 1_000.0), Some((2.5, 20_000.0)), 55.0);
        assert!((laws.of(Some("flooded")).scale / 1_000.0 - 1.0).abs() < 0.002);
    }

    #[test]
    fn long_service_without_a_failure_makes_life_cheaper() {
        let few = LifeLaws::new(&lives(10, 0, 400.0), None, 55.0);
        let many = LifeLaws::new(&lives(500, 0, 1_200.0), None, 55.0);
        assert!(many.of(Some("flooded")).mean() > 1.5 * few.of(Some("flooded")).mean());
    }
}
