//! What became of each subject by a horizon, and the weight that makes up for those lost to sight.
//!
//! Fails for times not above 0 and for a horizon past the last follow-up. Scoring the outcomes is
//! left to `brier`, `calibration`, `lift` and `concordance`.

use super::kaplan_meier::{SurvivalCurve, kaplan_meier};
use super::life::Life;
use crate::input::{InputError, all_within, at_least, positive, same_length};

/// An outcome at the horizon. A subject lost before it has no known outcome and weight 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    pub failed: bool,
    pub weight: f64,
}

/// Fails unless `times` are above 0 and pair up with `events`.
pub(crate) fn check_followed(times: &[f64], events: &[bool]) -> Result<(), InputError> {
    same_length("times", times.len(), "events", events.len())?;
    at_least("subjects", times.len(), 1)?;
    all_within("time", times, "above 0", |time| time > 0.0)
}

/// The chance to be still in sight, by Kaplan-Meier with ends of sight as the events. A failure
/// comes before an end of sight at the same time, so such failures are no longer at risk of one.
pub(crate) struct InSight {
    curve: SurvivalCurve,
}

impl InSight {
    pub(crate) fn new(times: &[f64], events: &[bool]) -> Result<Self, InputError> {
        // A failure is moved to just before its time: there it precedes an end of sight.
        let life = |(&time, &event): (&f64, &bool)| {
            let exit = if event {
                time.next_down().max(f64::MIN_POSITIVE)
            } else {
                time
            };
            Life {
                entry: 0.0,
                exit,
                event: !event,
            }
        };
        let lives: Vec<Life> = times.iter().zip(events).map(life).collect();
        Ok(Self {
            curve: kaplan_meier(&lives, 0.95)?,
        })
    }

    /// Just before `time`.
    pub(crate) fn before(&self, time: f64) -> f64 {
        let after = self.curve.steps.partition_point(|step| step.age < time);
        self.curve.steps[..after]
            .last()
            .map_or(1.0, |step| step.survival)
    }
}

/// Outcomes at the horizon, weighted by the inverse chance to be in sight (Graf et al., Statistics
/// in Medicine 18:2529, 1999): `1 / G(time-)` for a failure by the horizon, `1 / G(horizon-)` for
/// one seen to the horizon without failing, even when sight ends there. Assumes that ends of sight
/// do not depend on the risk. Times count from the moment the prediction was made.
pub fn outcomes_at(
    times: &[f64],
    events: &[bool],
    horizon: f64,
) -> Result<Vec<Outcome>, InputError> {
    check_followed(times, events)?;
    positive("horizon", horizon)?;
    let in_sight = InSight::new(times, events)?;
    let at_horizon = in_sight.before(horizon);
    let mut lost = false;
    let outcomes: Vec<Outcome> = times
        .iter()
        .zip(events)
        .map(|(&time, &event)| {
            let failed = event && time <= horizon;
            lost |= !failed && time < horizon;
            let weight = match failed {
                true => 1.0 / in_sight.before(time),
                false if time >= horizon => 1.0 / at_horizon,
                false => 0.0,
            };
            Outcome { failed, weight }
        })
        .collect();
    let last = times.iter().copied().fold(0.0, f64::max);
    if lost && last < horizon {
        return Err(InputError::BeyondFollowUp {
            time: horizon,
            last,
        });
    }
    Ok(outcomes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn those_in_sight_stand_for_those_lost() {
        let times = [1.0, 2.0, 2.0, 3.0, 5.0, 5.0];
        let events = [true, false, true, false, true, false];
        let weights: Vec<f64> = outcomes_at(&times, &events, 4.0)
            .unwrap()
            .iter()
            .map(|o| o.weight)
            .collect();
        // Lost at 2: one of four still at risk of it; lost at 3: one of three.
        assert_eq!(weights[..4], [1.0, 0.0, 1.0, 0.0]);
        assert!((weights[4] - 2.0).abs() < 1e-12 && (weights[5] - 2.0).abs() < 1e-12);
        assert!((weights.iter().sum::<f64>() - 6.0).abs() < 1e-12);
    }

    #[test]
    fn sight_that_ends_at_the_horizon_has_seen_it() {
        let outcomes = outcomes_at(&[4.0, 4.0, 2.0], &[false, true, true], 4.0).unwrap();
        assert!(outcomes.iter().all(|outcome| outcome.weight == 1.0));
        assert!(outcomes_at(&[4.0, 3.0], &[false, true], 5.0).is_err());
    }
}
