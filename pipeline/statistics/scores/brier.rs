//! Brier score: the mean squared distance between foretold chances and what happened.
//!
//! Fails for chances outside 0 to 1, lists that do not pair up, and outcomes all lost to sight.

use crate::input::{InputError, all_within, same_length};
use crate::lives::censoring_weight::Outcome;

/// Total weight of outcomes that pair up with predictions; fails when nothing was seen.
pub(crate) fn check_outcomes(predictions: usize, outcomes: &[Outcome]) -> Result<f64, InputError> {
    same_length("predictions", predictions, "outcomes", outcomes.len())?;
    let weights: Vec<f64> = outcomes.iter().map(|outcome| outcome.weight).collect();
    all_within("weight", &weights, "0 or more", |weight| weight >= 0.0)?;
    let total: f64 = weights.iter().sum();
    if total > 0.0 {
        Ok(total)
    } else {
        Err(InputError::TooFew {
            what: "outcomes seen",
            found: 0,
            needed: 1,
        })
    }
}

/// The score and what it is measured against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brier {
    pub score: f64,
    /// The score of foretelling the overall share for everyone.
    pub reference: f64,
    /// One less score / reference; `None` when the reference is 0, as all came out alike.
    pub skill: Option<f64>,
}

/// `sum w (p - y)^2 / n` over all subjects, lost ones counted in n with weight 0 (Graf et al.,
/// Statistics in Medicine 18:2529, 1999). With every weight 1 it is the plain score (Brier,
/// Monthly Weather Review 78:1, 1950).
pub fn brier_score(chances: &[f64], outcomes: &[Outcome]) -> Result<Brier, InputError> {
    let total = check_outcomes(chances.len(), outcomes)?;
    all_within("chance", chances, "between 0 and 1", |p| {
        (0.0..=1.0).contains(&p)
    })?;
    let n = outcomes.len() as f64;
    let failed = |outcome: &Outcome| if outcome.failed { 1.0 } else { 0.0 };
    let mean_square = |chance: &dyn Fn(usize) -> f64| -> f64 {
        let term = |(index, outcome): (usize, &Outcome)| {
            outcome.weight * (chance(index) - failed(outcome)).powi(2)
        };
        outcomes.iter().enumerate().map(term).sum::<f64>() / n
    };
    let share = outcomes.iter().map(|o| o.weight * failed(o)).sum::<f64>() / total;
    let (score, reference) = (
        mean_square(&|index| chances[index]),
        mean_square(&|_| share),
    );
    let skill = (reference > 0.0).then(|| 1.0 - score / reference);
    Ok(Brier {
        score,
        reference,
        skill,
    })
}
