//! What following the reports' advice spared: the failures that would have come among the batteries
//! reports wanted seen to, had none of them been.
//!
//! Shops see to the worst first, so those left alone are not like those seen to. Each failure of a battery
//! left alone counts by the inverse of the chance that it was left alone until then, given what it was told
//! (Robins and Finkelstein, Biometrics 56:779, 2000); so those who failed stand for those like them who
//! were seen to in time. That chance comes from the hazard of being seen to, by the chance told, the kind of
//! advice and the weeks gone. What a shop saw and no record holds is not made up for.
//!
//! Nothing here fails: where the records cannot say it, nothing is said.

use statistics::limits::Limits;
use statistics::rates::weighted_count::weighted_count_limits;
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::{HazardFit, fit_hazard};

/// A battery that a report wanted seen to, and its first end of each kind in days after the report, none
/// where that did not come within the horizon.
#[derive(Debug, Clone, Copy)]
pub struct Advised {
    /// The chance told, of failing within the horizon.
    pub chance: f64,
    pub horizon_days: f64,
    /// Whether it was to be tested first.
    pub test_first: bool,
    pub seen_to: Option<f64>,
    pub failed: Option<f64>,
    pub left: Option<f64>,
}

/// Failures that would have come had none been seen to, with limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftAlone {
    pub failures: f64,
    pub limits: Limits,
}

const A_WEEK: f64 = 7.0;
const COLUMNS: usize = 4;
const RIDGE: f64 = 1.0;
/// A failure stands for so many at the most: common practice, no source.
const MOST: f64 = 50.0;
const CONFIDENCE: f64 = 0.95;
/// A chance told is a logarithm here; none is nearer to 0 or 1.
const LEAST_CHANCE: f64 = 1e-6;
/// The last day of a week is of that week.
const EPSILON: f64 = 1e-9;

impl Advised {
    /// When it was no longer left alone in sight: failed, seen to, gone, or its days over.
    fn until(&self) -> f64 {
        let ends = [
            self.failed,
            self.seen_to,
            self.left,
            Some(self.horizon_days),
        ];
        ends.into_iter().flatten().fold(f64::INFINITY, f64::min)
    }

    /// Whether it failed while left alone. A battery replaced on the day it failed was replaced for that.
    fn failed_alone(&self) -> bool {
        self.failed.is_some_and(|failed| failed <= self.until())
    }

    /// Whether it was lost to sight before it could fail: seen to, or gone.
    fn lost(&self) -> bool {
        let until = self.until();
        !self.failed_alone() && [self.seen_to, self.left].contains(&Some(until))
    }

    /// The weeks it was left alone in, each with the days of it.
    fn weeks(&self) -> impl Iterator<Item = (usize, f64)> {
        let until = self.until().max(1.0);
        let weeks = ((until - EPSILON) / A_WEEK) as usize;
        (0..=weeks).map(move |week| (week, (until - A_WEEK * week as f64).min(A_WEEK)))
    }

    fn row(&self, week: usize) -> [f64; COLUMNS] {
        let told = -(-self.chance.clamp(LEAST_CHANCE, 1.0 - LEAST_CHANCE)).ln_1p();
        [
            told.ln(),
            f64::from(u8::from(self.test_first)),
            f64::from(u8::from(week == 0)),
            (1.0 + week as f64).ln(),
        ]
    }

    /// What its failure, were it to come when it was last seen alone, would stand for.
    fn weight(&self, lost: &HazardFit) -> f64 {
        let taken = |(week, days): (usize, f64)| {
            let row = self.row(week);
            let predictor = lost.linear_predictor(&row).unwrap_or(0.0);
            predictor.exp() * days / A_WEEK
        };
        let gathered: f64 = self.weeks().map(taken).sum();
        gathered.min(MOST.ln()).exp()
    }
}

/// The failures that would have come had none been seen to; nothing where no battery was advised on or
/// what was seen to fits no hazard.
pub fn left_alone(advised: &[Advised]) -> Option<LeftAlone> {
    if advised.is_empty() {
        return None;
    }
    let weights: Vec<f64> = match advised.iter().any(Advised::lost) {
        true => {
            let lost = hazard_of_being_lost(advised)?;
            advised.iter().map(|one| one.weight(&lost)).collect()
        }
        false => vec![1.0; advised.len()],
    };
    let failed = advised
        .iter()
        .zip(&weights)
        .filter(|(one, _)| one.failed_alone());
    let counted: Vec<f64> = failed.map(|(_, weight)| *weight).collect();
    let largest = weights.iter().copied().fold(1.0, f64::max);
    Some(LeftAlone {
        failures: counted.iter().sum(),
        limits: weighted_count_limits(&counted, largest, CONFIDENCE).ok()?,
    })
}

fn hazard_of_being_lost(advised: &[Advised]) -> Option<HazardFit> {
    let (mut values, mut events, mut offsets) = (Vec::new(), Vec::new(), Vec::new());
    for one in advised {
        let weeks: Vec<(usize, f64)> = one.weeks().collect();
        for (at, (week, days)) in weeks.iter().enumerate() {
            let lost = one.lost() && at + 1 == weeks.len();
            values.extend(one.row(*week));
            events.push(lost);
            // One that was seen to had the chance of it for the whole week.
            offsets.push(if lost { 0.0 } else { (days / A_WEEK).ln() });
        }
    }
    let periods = PersonPeriods {
        design: Design {
            columns: COLUMNS,
            values: &values,
        },
        events: &events,
        weights: None,
        offsets: Some(&offsets),
    };
    fit_hazard(&periods, &Ridge::new(RIDGE)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const HORIZON: f64 = 56.0;

    fn advised(chance: f64, seen_to: Option<f64>, failed: Option<f64>) -> Advised {
        Advised {
            chance,
            horizon_days: HORIZON,
            test_first: false,
            seen_to,
            failed,
            left: None,
        }
    }

    #[test]
    fn where_none_was_seen_to_what_came_is_what_would_have_come() {
        let mut fleet = vec![advised(0.2, None, None); 30];
        fleet.extend(vec![advised(0.3, None, Some(20.0)); 6]);
        let alone = left_alone(&fleet).unwrap();
        assert_eq!(alone.failures, 6.0);
        assert!(alone.limits.contains(6.0), "{alone:?}");
    }

    /// Of forty alike, half were seen to on the first day; of the other half five failed. So ten would have.
    #[test]
    fn those_left_alone_stand_for_those_seen_to() {
        let mut fleet = vec![advised(0.3, Some(1.0), None); 200];
        fleet.extend(vec![advised(0.3, None, Some(30.0)); 50]);
        fleet.extend(vec![advised(0.3, None, None); 150]);
        let alone = left_alone(&fleet).unwrap();
        assert!((alone.failures / 100.0 - 1.0).abs() < 0.03, "{alone:?}");
        assert!(alone.limits.contains(100.0), "{alone:?}");
    }

    #[test]
    fn without_advice_nothing_is_said() {
        assert_eq!(left_alone(&[]), None);
    }

    /// The day of a replacement for a failure is the day of the failure.
    #[test]
    fn a_battery_replaced_as_it_failed_had_failed() {
        let one = advised(0.3, Some(10.0), Some(10.0));
        assert!(one.failed_alone() && !one.lost());
    }

    /// Failures come at the rate told times a factor nobody knows; shops see to the likeliest first. What
    /// would have come is known here, as those seen to have a failure in store too.
    fn fleet(seed: u64) -> (Vec<Advised>, f64) {
        let rng = &mut ChaCha8Rng::seed_from_u64(seed);
        let mut would_fail = 0.0;
        let advised = (0..600)
            .map(|_| {
                let chance: f64 = rng.random_range(0.05..0.6);
                let rate = -1.4 * (1.0 - chance).ln() / HORIZON;
                let fails = -(1.0 - rng.random::<f64>()).ln() / rate;
                let seen_to = -(1.0 - rng.random::<f64>()).ln() / (0.06 * chance);
                would_fail += f64::from(u8::from(fails <= HORIZON));
                let within = |day: f64| (day <= HORIZON).then_some(day);
                let failed = within(fails).filter(|_| fails <= seen_to);
                advised(chance, within(seen_to).filter(|_| failed.is_none()), failed)
            })
            .collect();
        (advised, would_fail)
    }

    #[test]
    fn what_would_have_come_is_found_though_the_worst_are_seen_to_first() {
        const FLEETS: u64 = 200;
        let (mut ratio, mut held, mut plain) = (0.0, 0, 0.0);
        for seed in 0..FLEETS {
            let (advised, would_fail) = fleet(seed);
            let alone = left_alone(&advised).unwrap();
            ratio += alone.failures / would_fail / FLEETS as f64;
            held += usize::from(alone.limits.contains(would_fail));
            // Those left alone to the end, taken for all: what comes of not weighing.
            let left = advised.iter().filter(|one| one.seen_to.is_none());
            let failed = left.clone().filter(|one| one.failed.is_some()).count();
            let plainly = failed as f64 / left.count() as f64 * advised.len() as f64;
            plain += plainly / would_fail / FLEETS as f64;
        }
        assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
        assert!(
            (0.93..=1.0).contains(&(held as f64 / FLEETS as f64)),
            "{held}"
        );
        // The check can fail: without the weights it is off.
        assert!((plain - 1.0).abs() > 0.05, "{plain}");
    }
}
