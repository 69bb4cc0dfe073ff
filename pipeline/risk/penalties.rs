//! How hard the slopes of the way of all signs are to be drawn, chosen by trials.

use super::drawn::Drawn;
use super::ground::Ground;
use super::learnt::{Learnt, said};
use super::together::together;
use super::trials::{Trials, Try};

/// Penalties of the way of all signs, from which trials choose; the others' columns are few.
const PENALTIES: [f64; 7] = [10_000.0, 3_000.0, 1_000.0, 300.0, 100.0, 30.0, 10.0];
const UNTRIED_PENALTY: f64 = 3_000.0;

/// A group is drawn so much harder or less hard where trials find it likelier by so much, in the logarithm.
const GROUP_FACTORS: [f64; 2] = [0.1, 10.0];
const LEAST_GAIN: f64 = 2.0;

/// How the columns of all signs were drawn, and what came of it in the trials.
#[derive(Clone)]
pub struct Scored {
    pub drawn: Drawn,
    likelihood: f64,
    /// What was said of the looks of all tries, each learnt on those before it.
    pub said: Vec<f64>,
    /// The coefficients of the fit of each try.
    lines: Vec<Vec<f64>>,
}

impl Scored {
    /// What no trial speaks of.
    fn untried(drawn: Drawn) -> Self {
        Self {
            drawn,
            likelihood: f64::NEG_INFINITY,
            said: Vec::new(),
            lines: Vec::new(),
        }
    }

    fn or_likelier(self, other: Self) -> Self {
        if other.likelihood > self.likelihood {
            other
        } else {
            self
        }
    }

    /// The coefficients of the fit on the most looks.
    pub fn last_line(&self) -> Option<&[f64]> {
        self.lines.last().map(Vec::as_slice)
    }
}

/// How hard the columns of all signs are to be drawn, by what came in the trials unless it is given, and what
/// they then said.
pub fn choose(
    ground: &Ground<'_>,
    columns: &[usize],
    tries: &[Try],
    trials: &Trials,
    given: Option<&Drawn>,
) -> Scored {
    let learnt: Vec<(&Try, Learnt<'_>)> = tries
        .iter()
        .map(|one| (one, Learnt::of(ground, columns, &one.learnt)))
        .collect();
    // All tries at once; in each, one fit after the other begins where the last one ended.
    let scored = |candidates: &[Drawn], near: &[Vec<f64>]| -> Vec<Scored> {
        let numbered: Vec<usize> = (0..learnt.len()).collect();
        let of_tries = together(&numbered, |at| {
            let (one, learnt) = &learnt[*at];
            let mut near = near.get(*at).cloned();
            let mut lines = Vec::with_capacity(candidates.len());
            for drawn in candidates {
                let line = learnt.line(&one.parted.foretold, drawn, near.as_deref());
                near = Some(line.clone());
                lines.push(line);
            }
            lines
        });
        let scored = candidates.iter().enumerate().map(|(candidate, drawn)| {
            let lines = of_tries.iter().map(|lines| lines[candidate].clone());
            let lines: Vec<Vec<f64>> = lines.collect();
            let told = lines.iter().zip(tries);
            let told = told.flat_map(|(line, one)| said(ground, line, one));
            let said: Vec<f64> = told.collect();
            Scored {
                drawn: drawn.clone(),
                likelihood: trials.likelihood_of(&said),
                said,
                lines,
            }
        });
        scored.collect()
    };
    let first = match given {
        Some(given) => vec![given.clone()],
        None => PENALTIES.map(Drawn::evenly).to_vec(),
    };
    let untried = given.cloned().unwrap_or(Drawn::evenly(UNTRIED_PENALTY));
    if tries.is_empty() {
        return Scored::untried(untried);
    }
    let firsts = scored(&first, &[]).into_iter();
    let Some(mut best) = firsts.reduce(Scored::or_likelier) else {
        return Scored::untried(untried);
    };
    if given.is_some() {
        return best;
    }
    for group in 0..best.drawn.groups.len() {
        let others = GROUP_FACTORS.map(|factor| {
            let mut drawn = best.drawn.clone();
            drawn.groups[group] = factor;
            drawn
        });
        let others = scored(&others, &best.lines).into_iter();
        if let Some(found) = others.reduce(Scored::or_likelier)
            && found.likelihood > best.likelihood + LEAST_GAIN
        {
            best = found;
        }
    }
    best
}
