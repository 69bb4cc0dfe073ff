//! Survival when failures are known only to lie between two ages, with late entry.
//!
//! Fails for unusable lives, and when the iteration has not come within 1e-3 of the greatest
//! log-likelihood. Exact failures and survivors may be mixed in; with those alone `kaplan_meier`
//! gives the same answer at once.

use super::life::{IntervalLife, check_interval_lives};
use crate::input::FitError;

const MOST_ITERATIONS: usize = 20_000;
const WANTED_GAP: f64 = 1e-9;
const TAKEN_GAP: f64 = 1e-3;

/// A chance of failing somewhere in `(from, to]` (at exactly `to` when both are equal); where
/// inside, the data do not say. An infinite `to` is the chance of outliving all follow-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FailureMass {
    pub from: f64,
    pub to: f64,
    pub chance: f64,
    /// Survival past `to`.
    pub survival_after: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct IntervalSurvival {
    /// In order of age; intervals without mass are left out.
    pub masses: Vec<FailureMass>,
    pub log_likelihood: f64,
    /// By how much the log-likelihood may still fall short of its maximum (a bound without late
    /// entry, an indication with it).
    pub gap: f64,
    pub iterations: usize,
}

/// An end of an interval in the order of ages: at one age an exact failure begins, then intervals
/// close, then open ones begin.
type End = (f64, u8);
const EXACT_START: u8 = 0;
const CLOSE: u8 = 1;
const OPEN_START: u8 = 2;

/// Lives alike: the mass intervals they may have failed in, those that exist for them given their
/// entry, and how many there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Group {
    first: usize,
    last: usize,
    seen_from: usize,
    count: u64,
}

/// The nonparametric maximum-likelihood estimate (Turnbull, J. R. Statist. Soc. B 38:290, 1976) on
/// his innermost intervals, with Frydman's correction for late entry (J. R. Statist. Soc. B 56:71,
/// 1994). Self-consistency steps, which alone creep, alternate with Newton-like steps on the
/// distribution function kept rising by isotonic regression (Wellner and Zhan, J. Amer. Statist.
/// Assoc. 92:945, 1997). Each step is linear in lives and intervals.
pub fn turnbull(lives: &[IntervalLife]) -> Result<IntervalSurvival, FitError> {
    check_interval_lives(lives)?;
    let intervals = innermost(lives);
    let groups = grouped(lives, &intervals);
    let problem = Problem {
        groups: &groups,
        cells: intervals.len(),
    };
    let mut chances = vec![1.0 / intervals.len() as f64; intervals.len()];
    let (mut iterations, mut gap) = (0, f64::INFINITY);
    while iterations < MOST_ITERATIONS {
        iterations += 1;
        let improved = problem.improve(&chances);
        gap = improved.gap;
        if gap <= WANTED_GAP {
            break;
        }
        chances = problem.leap(improved.chances);
    }
    if gap > TAKEN_GAP {
        return Err(FitError::NotConverged {
            what: "Turnbull",
            iterations,
            last_step: gap,
        });
    }
    let log_likelihood = problem.log_likelihood(&chances);
    let mut survival: f64 = 1.0;
    let masses = intervals
        .iter()
        .zip(&chances)
        .map(|(&(from, to), &chance)| {
            survival = (survival - chance).max(0.0);
            FailureMass {
                from,
                to,
                chance,
                survival_after: survival,
            }
        })
        .filter(|mass| mass.chance > 1e-10)
        .collect();
    Ok(IntervalSurvival {
        masses,
        log_likelihood,
        gap,
        iterations,
    })
}

fn start_of(life: &IntervalLife) -> End {
    (
        life.alive_at,
        if life.is_exact() {
            EXACT_START
        } else {
            OPEN_START
        },
    )
}

fn by_age(left: &End, right: &End) -> std::cmp::Ordering {
    left.0.total_cmp(&right.0).then(left.1.cmp(&right.1))
}

/// Intervals from a start to the close that follows it with no other end between. Entries close
/// too, so that no interval straddles one.
fn innermost(lives: &[IntervalLife]) -> Vec<(f64, f64)> {
    let mut ends: Vec<End> = Vec::with_capacity(3 * lives.len());
    for life in lives {
        ends.push(start_of(life));
        ends.push((life.failed_by, CLOSE));
        ends.push((life.entry, CLOSE));
    }
    ends.sort_unstable_by(by_age);
    ends.windows(2)
        .filter(|pair| pair[0].1 != CLOSE && pair[1].1 == CLOSE)
        .map(|pair| (pair[0].0, pair[1].0))
        .collect()
}

fn grouped(lives: &[IntervalLife], intervals: &[(f64, f64)]) -> Vec<Group> {
    // An interval lies past an end when it begins no earlier.
    let starts: Vec<End> = intervals
        .iter()
        .map(|&(from, to)| (from, if from == to { EXACT_START } else { OPEN_START }))
        .collect();
    let at_or_past = |end: End| starts.partition_point(|start| by_age(start, &end).is_lt());
    let mut groups: Vec<Group> = lives
        .iter()
        .map(|life| Group {
            first: at_or_past(start_of(life)),
            last: at_or_past((life.failed_by, CLOSE)) - 1,
            seen_from: at_or_past((life.entry, CLOSE)),
            count: 1,
        })
        .collect();
    groups.sort_unstable();
    groups.dedup_by(|next, kept| {
        let same =
            (next.first, next.last, next.seen_from) == (kept.first, kept.last, kept.seen_from);
        if same {
            kept.count += next.count;
        }
        same
    });
    groups
}

struct Problem<'a> {
    groups: &'a [Group],
    cells: usize,
}

struct Improved {
    chances: Vec<f64>,
    /// Of the chances given, not of the improved ones.
    gap: f64,
}

impl Problem<'_> {
    /// The chance of what was seen of a group, and the chance to have been there to be seen.
    fn chances_of(&self, group: &Group, chances: &[f64], before: &[f64]) -> (f64, f64) {
        let own = range_sum(chances, before, group.first, group.last + 1);
        (own, range_sum(chances, before, group.seen_from, self.cells))
    }

    fn log_likelihood(&self, chances: &[f64]) -> f64 {
        let before = running_sums(chances);
        let term = |group: &Group| {
            let (own, existing) = self.chances_of(group, chances, &before);
            group.count as f64 * (own / existing).ln()
        };
        self.groups.iter().map(term).sum()
    }

    /// One self-consistency step: every life spreads itself over the intervals it may have failed
    /// in, and stands also for the unseen ones that failed before its entry.
    fn improve(&self, chances: &[f64]) -> Improved {
        let before = running_sums(chances);
        // Weights per unit of chance, as differences to be added up along the intervals.
        let mut weights = vec![0.0; self.cells + 1];
        let mut whole = 0.0;
        for group in self.groups {
            let count = group.count as f64;
            let (own, existing) = self.chances_of(group, chances, &before);
            weights[group.first] += count / own;
            weights[group.last + 1] -= count / own;
            weights[0] += count / existing;
            weights[group.seen_from] -= count / existing;
            whole += count / existing;
        }
        let (mut slope, mut greatest) = (0.0, f64::NEG_INFINITY);
        let mut improved = Vec::with_capacity(self.cells);
        for (chance, weight) in chances.iter().zip(&weights) {
            slope += weight;
            greatest = f64::max(greatest, slope - whole);
            improved.push((chance * slope / whole).max(0.0));
        }
        let total: f64 = improved.iter().sum();
        improved.iter_mut().for_each(|chance| *chance /= total);
        Improved {
            chances: improved,
            gap: greatest.max(0.0),
        }
    }

    /// A Newton-like step with the diagonal of the information, on the distribution function at
    /// the intervals' ends; halved until the likelihood rises, or left out.
    fn leap(&self, chances: Vec<f64>) -> Vec<f64> {
        if self.cells < 2 {
            return chances;
        }
        let before = running_sums(&chances);
        // Entry k of `before` is the distribution function after k intervals; its ends are fixed.
        let mut slopes = vec![0.0; self.cells + 1];
        let mut weights = vec![0.0; self.cells + 1];
        for group in self.groups {
            let count = group.count as f64;
            let (own, existing) = self.chances_of(group, &chances, &before);
            slopes[group.last + 1] += count / own;
            slopes[group.first] -= count / own;
            slopes[group.seen_from] += count / existing;
            for (end, chance) in [
                (group.last + 1, own),
                (group.first, own),
                (group.seen_from, existing),
            ] {
                weights[end] += count / (chance * chance);
            }
        }
        let inner = 1..self.cells;
        let wanted: Vec<f64> = inner
            .clone()
            .map(|k| {
                before[k]
                    + if weights[k] > 0.0 {
                        slopes[k] / weights[k]
                    } else {
                        0.0
                    }
            })
            .collect();
        let weights: Vec<f64> = inner.map(|k| weights[k].max(f64::MIN_POSITIVE)).collect();
        let reached = rising(&wanted, &weights);
        let mut after = vec![0.0];
        after.extend(reached.iter().map(|value| value.clamp(0.0, 1.0)));
        after.push(1.0);
        let level = self.log_likelihood(&chances);
        let mut fraction = 1.0;
        while fraction > 1e-3 {
            let next: Vec<f64> = after
                .windows(2)
                .zip(&chances)
                .map(|(ends, chance)| chance + fraction * (ends[1] - ends[0] - chance))
                .collect();
            if self.log_likelihood(&next) > level {
                return next;
            }
            fraction *= 0.5;
        }
        chances
    }
}

/// Sums of the first 0, 1, 2 ... chances.
fn running_sums(chances: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0];
    sums.extend(chances.iter().scan(0.0, |sum, chance| {
        *sum += chance;
        Some(*sum)
    }));
    sums
}

/// The sum over a range: from the running sums, or added anew where these have lost their digits.
/// A step to a point where a life has no chance left has a log-likelihood of minus infinity, and is
/// not taken.
fn range_sum(chances: &[f64], before: &[f64], from: usize, to: usize) -> f64 {
    let quick = before[to] - before[from];
    if quick > 1e-6 {
        quick
    } else {
        chances[from..to].iter().sum()
    }
}

/// The weighted least-squares fit of a rising sequence, by pooling neighbours out of order (Ayer et
/// al. 1955).
fn rising(values: &[f64], weights: &[f64]) -> Vec<f64> {
    // Pools as (mean, weight, members).
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (&value, &weight) in values.iter().zip(weights) {
        let mut pool = (value, weight, 1);
        while let Some(&(mean, other, members)) = pools.last()
            && mean >= pool.0
        {
            pools.pop();
            let whole = other + pool.1;
            pool = (
                (mean * other + pool.0 * pool.1) / whole,
                whole,
                members + pool.2,
            );
        }
        pools.push(pool);
    }
    pools
        .iter()
        .flat_map(|&(mean, _, members)| std::iter::repeat_n(mean, members))
        .collect()
}

impl IntervalSurvival {
    /// Survival at an age as (least, greatest): equal where the data place no mass around it.
    pub fn survival_at(&self, age: f64) -> (f64, f64) {
        let before = self.masses.partition_point(|mass| mass.to <= age);
        let greatest = before
            .checked_sub(1)
            .map_or(1.0, |last| self.masses[last].survival_after);
        match self.masses.get(before) {
            Some(mass) if mass.from < age => (mass.survival_after, greatest),
            _ => (greatest, greatest),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lives::kaplan_meier::kaplan_meier;
    use crate::lives::life::Life;

    /// With exact failures, survivors and late entries alone the answer is Kaplan-Meier's.
    #[test]
    fn exact_lives_give_kaplan_meier() {
        let lives: Vec<Life> = (0..40u32)
            .map(|unit| Life {
                entry: f64::from(unit % 4),
                exit: f64::from(5 + unit * 7 % 17),
                event: unit % 3 != 0,
            })
            .collect();
        let curve = kaplan_meier(&lives, 0.95).unwrap();
        let lives: Vec<IntervalLife> = lives.into_iter().map(IntervalLife::from).collect();
        let masses = turnbull(&lives).unwrap();
        for step in &curve.steps {
            let (least, greatest) = masses.survival_at(step.age);
            assert!((step.survival - least).abs() < 1e-6, "{step:?} {least}");
            assert!(
                (step.survival - greatest).abs() < 1e-6,
                "{step:?} {greatest}"
            );
        }
    }

    #[test]
    fn one_life_is_its_own_interval() {
        let life = IntervalLife {
            entry: 0.0,
            alive_at: 2.0,
            failed_by: 5.0,
        };
        let survival = turnbull(&[life]).unwrap();
        assert_eq!(survival.masses.len(), 1);
        assert_eq!(survival.survival_at(2.0), (1.0, 1.0));
        assert_eq!(survival.survival_at(3.0), (0.0, 1.0));
        assert_eq!(survival.survival_at(5.0), (0.0, 0.0));
        assert!(turnbull(&[]).is_err());
    }
}
