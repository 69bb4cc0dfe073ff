//! How many of the failures stand at the top of a ranking.
//!
//! Fails for k of 0 or more than the subjects, scores that are not finite, and outcomes all lost
//! to sight. Whether the chances themselves are right is left to `calibration`.

use super::brier::check_outcomes;
use crate::input::{InputError, all_finite, setting};
use crate::lives::censoring_weight::Outcome;

/// The top k of a ranking against all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lift {
    /// Share of failures among the top k.
    pub hit_rate: f64,
    /// Share of all failures that stand in the top k; `None` without failures.
    pub caught: Option<f64>,
    /// Hit rate over the overall share; `None` without failures.
    pub lift: Option<f64>,
}

/// Takes the k highest scores. Where scores tie across the k-th place, each of the tied counts by
/// the chance of being drawn, so that the answer does not depend on the order of rows.
pub fn lift_at(scores: &[f64], outcomes: &[Outcome], k: usize) -> Result<Lift, InputError> {
    let total = check_outcomes(scores.len(), outcomes)?;
    all_finite("score", scores)?;
    let count = scores.len() as f64;
    setting("k", k as f64, "from 1 to the number of subjects", |k| {
        k >= 1.0 && k <= count
    })?;
    let mut order: Vec<usize> = (0..scores.len()).collect();
    order.sort_unstable_by(|&left, &right| scores[right].total_cmp(&scores[left]));
    let edge = scores[order[k - 1]];
    let above = order
        .iter()
        .take_while(|&&index| scores[index] > edge)
        .count();
    let tied = order[above..]
        .iter()
        .take_while(|&&index| scores[index] == edge)
        .count();
    let share_of_tied = (k - above) as f64 / tied as f64;
    let (mut top, mut top_failed, mut all_failed) = (0.0, 0.0, 0.0);
    for (score, outcome) in scores.iter().zip(outcomes) {
        let taken = match score.total_cmp(&edge) {
            std::cmp::Ordering::Greater => 1.0,
            std::cmp::Ordering::Equal => share_of_tied,
            std::cmp::Ordering::Less => 0.0,
        };
        let failed = if outcome.failed { outcome.weight } else { 0.0 };
        top += taken * outcome.weight;
        top_failed += taken * failed;
        all_failed += failed;
    }
    let hit_rate = if top > 0.0 { top_failed / top } else { 0.0 };
    let any = all_failed > 0.0;
    Ok(Lift {
        hit_rate,
        caught: any.then(|| top_failed / all_failed),
        lift: any.then(|| hit_rate / (all_failed / total)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcomes(failed: &[bool]) -> Vec<Outcome> {
        failed
            .iter()
            .map(|&failed| Outcome {
                failed,
                weight: 1.0,
            })
            .collect()
    }

    #[test]
    fn ties_at_the_edge_count_by_chance() {
        let scores = [0.9, 0.5, 0.5, 0.5, 0.1, 0.1];
        let seen = outcomes(&[true, true, false, false, false, false]);
        // Two places for three tied at the edge, one of which failed.
        let lift = lift_at(&scores, &seen, 3).unwrap();
        assert!((lift.hit_rate - (1.0 + 2.0 / 3.0) / 3.0).abs() < 1e-15);
        assert!((lift.caught.unwrap() - (1.0 + 2.0 / 3.0) / 2.0).abs() < 1e-15);
        assert!((lift.lift.unwrap() - lift.hit_rate * 3.0).abs() < 1e-15);
        let all = lift_at(&scores, &seen, 6).unwrap();
        assert_eq!((all.lift, all.caught), (Some(1.0), Some(1.0)));
        assert!(lift_at(&scores, &seen, 0).is_err() && lift_at(&scores, &seen, 7).is_err());
    }

    #[test]
    fn without_failures_there_is_no_lift() {
        let lift = lift_at(&[0.2, 0.3], &outcomes(&[false, false]), 1).unwrap();
        assert_eq!((lift.hit_rate, lift.lift, lift.caught), (0.0, None, None));
    }
}
