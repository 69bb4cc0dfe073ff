//! Mean cumulative function: how many repeat events a subject has had by an age, on average.
//!
//! Fails for unusable subjects and events outside the time a subject was watched. No model of the
//! events is assumed; rates with a model are left to `poisson_rate`.

use super::life::{Life, check_lives};
use crate::input::{InputError, all_finite, at_least};
use crate::limits::{Limits, two_sided_z};

/// A subject watched over `(start, end]` with the ages of its events, in any order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watched<'a> {
    pub start: f64,
    pub end: f64,
    pub events: &'a [f64],
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanCumulativeStep {
    pub age: f64,
    pub at_risk: usize,
    pub events: usize,
    /// Events per subject up to this age.
    pub mean: f64,
    /// Robust variance of Lawless and Nadeau; never negative.
    pub variance: f64,
    /// Nelson's unbiased variance, with divisors n - 1. It can be negative. `None` once one subject
    /// alone is at risk, and where subjects were not all watched from age 0.
    pub nelson_variance: Option<f64>,
    /// `mean * exp(-+ z se / mean)` by the robust variance.
    pub limits: Limits,
}

/// Nelson (J. Quality Technology 27:147, 1995): `M(t) = sum d/n`, with the variance of Lawless and
/// Nadeau (Technometrics 37:158, 1995), the sum over subjects of their squared influences, and
/// Nelson's own. Time is O(N log N) in subjects and events: the influences of all subjects at risk
/// move together, so their sum of squares is kept instead of each.
pub fn mean_cumulative(
    subjects: &[Watched],
    confidence: f64,
) -> Result<Vec<MeanCumulativeStep>, InputError> {
    let z = two_sided_z(confidence)?;
    at_least("subjects", subjects.len(), 1)?;
    let mut by_age = checked_events(subjects)?;
    by_age.sort_unstable_by(|left, right| left.0.total_cmp(&right.0).then(left.1.cmp(&right.1)));
    let mut arrivals = order_by(subjects, |subject| subject.start)
        .into_iter()
        .peekable();
    let mut departures = order_by(subjects, |subject| subject.end)
        .into_iter()
        .peekable();
    let all_from_new = subjects.iter().all(|subject| subject.start == 0.0);

    let mut state = State {
        level: vec![0.0; subjects.len()],
        ..State::default()
    };
    let mut nelson = all_from_new.then_some(0.0);
    let mut mean = 0.0;
    let mut steps = Vec::new();
    for at_age in by_age.chunk_by(|left, right| left.0 == right.0) {
        let age = at_age[0].0;
        while let Some(subject) = arrivals.next_if(|&subject| subjects[subject].start < age) {
            state.arrive(subject);
        }
        while let Some(subject) = departures.next_if(|&subject| subjects[subject].end < age) {
            state.depart(subject);
        }
        let (n, d) = (state.at_risk as f64, at_age.len() as f64);
        let mut own_squares = 0.0;
        let mut own_levels = 0.0;
        let sum_before = state.sum;
        for run in at_age.chunk_by(|left, right| left.1 == right.1) {
            let count = run.len() as f64;
            own_squares += count * count;
            own_levels += count * state.level[run[0].1];
            state.add_events(run[0].1, count / n);
        }
        // With all watched from new the level of a subject is the sum of its events / n.
        nelson = nelson.filter(|_| state.at_risk > 1).map(|variance| {
            let of_age = (own_squares - d * d / n) / ((n - 1.0) * n);
            variance + of_age + 2.0 * (own_levels - d / n * sum_before) / (n - 1.0)
        });
        state.drift += d / (n * n);
        mean += d / n;
        let variance = state.variance();
        steps.push(MeanCumulativeStep {
            age,
            at_risk: state.at_risk,
            events: at_age.len(),
            mean,
            variance,
            nelson_variance: nelson,
            limits: Limits::log_normal(mean, z, variance.sqrt() / mean),
        });
    }
    Ok(steps)
}

/// Sums over the subjects at risk. A subject's influence is its level less the common drift.
#[derive(Default)]
struct State {
    level: Vec<f64>,
    at_risk: usize,
    drift: f64,
    sum: f64,
    squares: f64,
    /// Squared influences of subjects no longer at risk.
    departed: f64,
}

impl State {
    fn arrive(&mut self, subject: usize) {
        self.level[subject] = self.drift;
        self.at_risk += 1;
        self.sum += self.drift;
        self.squares += self.drift * self.drift;
    }

    fn depart(&mut self, subject: usize) {
        let level = self.level[subject];
        self.at_risk -= 1;
        self.sum -= level;
        self.squares -= level * level;
        self.departed += (level - self.drift).powi(2);
    }

    fn add_events(&mut self, subject: usize, share: f64) {
        let level = self.level[subject];
        self.level[subject] = level + share;
        self.sum += share;
        self.squares += share * (2.0 * level + share);
    }

    fn variance(&self) -> f64 {
        let n = self.at_risk as f64;
        let at_risk = self.squares - 2.0 * self.drift * self.sum + n * self.drift * self.drift;
        (self.departed + at_risk).max(0.0)
    }
}

/// All events as (age, subject).
fn checked_events(subjects: &[Watched]) -> Result<Vec<(f64, usize)>, InputError> {
    let spans: Vec<Life> = subjects
        .iter()
        .map(|subject| Life::censored(subject.start, subject.end))
        .collect();
    check_lives(&spans)?;
    let mut by_age = Vec::new();
    for (index, subject) in subjects.iter().enumerate() {
        all_finite("event age", subject.events)?;
        let outside = |age: &&f64| **age <= subject.start || **age > subject.end;
        if let Some(&value) = subject.events.iter().find(outside) {
            let needed = "within the time its subject was watched";
            return Err(InputError::OutOfRange {
                what: "event age",
                index,
                value,
                needed,
            });
        }
        by_age.extend(subject.events.iter().map(|&age| (age, index)));
    }
    Ok(by_age)
}

fn order_by(subjects: &[Watched], key: impl Fn(&Watched) -> f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..subjects.len()).collect();
    order.sort_unstable_by(|&left, &right| key(&subjects[left]).total_cmp(&key(&subjects[right])));
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lives::life::sorted_ages;

    /// The sum of squared influences, subject by subject, as Lawless and Nadeau define it.
    fn plain_variance(subjects: &[Watched], until: f64) -> f64 {
        let mut ages: Vec<f64> = sorted_ages(
            subjects
                .iter()
                .flat_map(|subject| subject.events.iter().copied()),
        );
        ages.dedup();
        let at_risk = |subject: &Watched, age: f64| subject.start < age && age <= subject.end;
        let own = |subject: &Watched, age: f64| {
            subject.events.iter().filter(|&&event| event == age).count() as f64
        };
        let influence = |subject: &Watched| -> f64 {
            ages.iter()
                .filter(|&&age| age <= until && at_risk(subject, age))
                .map(|&age| {
                    let n = subjects.iter().filter(|s| at_risk(s, age)).count() as f64;
                    let d: f64 = subjects.iter().map(|s| own(s, age)).sum();
                    (own(subject, age) - d / n) / n
                })
                .sum()
        };
        subjects
            .iter()
            .map(|subject| influence(subject).powi(2))
            .sum()
    }

    #[test]
    fn kept_sums_give_the_variance_of_the_definition() {
        let events: Vec<Vec<f64>> = (0..25u32)
            .map(|unit| {
                (0..unit % 4)
                    .map(|k| f64::from(6 + (unit * 5 + k * 7) % 9))
                    .collect()
            })
            .collect();
        let subjects: Vec<Watched> = events
            .iter()
            .enumerate()
            .map(|(unit, events)| Watched {
                start: (unit % 5) as f64,
                end: 14.0 + (unit % 3) as f64,
                events,
            })
            .collect();
        for step in mean_cumulative(&subjects, 0.95).unwrap() {
            let plain = plain_variance(&subjects, step.age);
            assert!(
                (step.variance / plain - 1.0).abs() < 1e-10,
                "{step:?} {plain}"
            );
            assert_eq!(step.nelson_variance, None);
        }
    }

    #[test]
    fn an_event_out_of_sight_is_refused() {
        let subject = Watched {
            start: 2.0,
            end: 9.0,
            events: &[2.0],
        };
        assert!(mean_cumulative(&[subject], 0.95).is_err());
        let quiet = Watched {
            start: 2.0,
            end: 9.0,
            events: &[],
        };
        assert_eq!(mean_cumulative(&[quiet], 0.95).unwrap(), []);
    }
}
