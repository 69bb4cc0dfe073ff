//! Survival when failures are known only to lie between two ages, with late entry.
//!
//! Fails for unusable lives, and when the iteration has not come within 1e-3 of the greatest
//! log-likelihood. Exact failures and survivors may be mixed in; with those alone `kaplan_meier`
//! gives the same answer at once.

use super::input::FitError;
use super::lives::{IntervalLife, check_interval_lives};

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

/// The nonparametric maximum-likelihood estimate by self-consistency (Turnbull, J. R. Statist.
/// Soc. B 38:290, 1976) on his innermost intervals, with Frydman's correction for late entry
/// (J. R. Statist. Soc. B 56:71, 1994), sped up by squared extrapolation (Varadhan and Roland,
/// Scand. J. Statist. 35:335, 2008). A pass is linear in lives and intervals.
pub fn turnbull(lives: &[IntervalLife]) -> Result<IntervalSurvival, FitError> {
    check_interval_lives(lives)?;
    let intervals = innermost(lives);
    let groups = grouped(lives, &intervals);
    let mut problem = Problem {
        groups: &groups,
        cells: intervals.len(),
    };
    let mut chances = vec![1.0 / intervals.len() as f64; intervals.len()];
    let (mut iterations, mut gap) = (0, f64::INFINITY);
    while iterations < MOST_ITERATIONS {
        let first = problem.improve(&chances);
        gap = first.gap;
        if gap <= WANTED_GAP {
            break;
        }
        let second = problem.improve(&first.chances);
        iterations += 2;
        chances = match extrapolated(&chances, &first.chances, &second.chances) {
            Some(far) => {
                let steady = problem.improve(&far);
                iterations += 1;
                if steady.log_likelihood >= second.log_likelihood {
                    steady.chances
                } else {
                    second.chances
                }
            }
            None => second.chances,
        };
    }
    if gap > TAKEN_GAP {
        return Err(FitError::NotConverged {
            what: "Turnbull",
            iterations,
            last_step: gap,
        });
    }
    let log_likelihood = problem.improve(&chances).log_likelihood;
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
    log_likelihood: f64,
    gap: f64,
}

impl Problem<'_> {
    /// One self-consistency step: every life spreads itself over the intervals it may have failed
    /// in, and stands also for the unseen ones that failed before its entry.
    fn improve(&mut self, chances: &[f64]) -> Improved {
        let mut before = Vec::with_capacity(self.cells + 1);
        let mut sum = 0.0;
        before.push(0.0);
        for chance in chances {
            sum += chance;
            before.push(sum);
        }
        // Weights per unit of chance, as differences to be added up along the intervals.
        let mut seen = vec![0.0; self.cells + 1];
        let mut unseen = vec![0.0; self.cells + 1];
        let (mut log_likelihood, mut lives, mut whole) = (0.0, 0.0, 0.0);
        for group in self.groups {
            let count = group.count as f64;
            let own = range_sum(chances, &before, group.first, group.last + 1);
            let existing = range_sum(chances, &before, group.seen_from, self.cells);
            log_likelihood += count * (own / existing).ln();
            seen[group.first] += count / own;
            seen[group.last + 1] -= count / own;
            unseen[0] += count / existing;
            unseen[group.seen_from] -= count / existing;
            lives += count;
            whole += count / existing;
        }
        let (mut own, mut missing, mut greatest) = (0.0, 0.0, f64::NEG_INFINITY);
        let mut improved = Vec::with_capacity(self.cells);
        for (cell, chance) in chances.iter().enumerate() {
            own += seen[cell];
            missing += unseen[cell];
            let slope: f64 = own + missing;
            greatest = f64::max(greatest, slope - whole);
            improved.push((chance * slope / whole).max(0.0));
        }
        let total: f64 = improved.iter().sum();
        improved.iter_mut().for_each(|chance| *chance /= total);
        let gap = if lives > 0.0 { greatest.max(0.0) } else { 0.0 };
        Improved {
            chances: improved,
            log_likelihood,
            gap,
        }
    }
}

/// The sum over a range: from the running sums, or added anew where these have lost their digits.
fn range_sum(chances: &[f64], before: &[f64], from: usize, to: usize) -> f64 {
    let quick = before[to] - before[from];
    if quick > 1e-6 {
        quick
    } else {
        chances[from..to].iter().sum::<f64>().max(1e-300)
    }
}

/// The squared extrapolation of two steps; `None` when it leaves the simplex or moves no more.
fn extrapolated(start: &[f64], first: &[f64], second: &[f64]) -> Option<Vec<f64>> {
    let (mut step_square, mut bend_square) = (0.0, 0.0);
    for ((a, b), c) in start.iter().zip(first).zip(second) {
        step_square += (b - a).powi(2);
        bend_square += (c - 2.0 * b + a).powi(2);
    }
    if bend_square == 0.0 {
        return None;
    }
    let reach = (step_square / bend_square).sqrt().max(1.0);
    let far: Vec<f64> = start
        .iter()
        .zip(first)
        .zip(second)
        .map(|((a, b), c)| a + 2.0 * reach * (b - a) + reach * reach * (c - 2.0 * b + a))
        .collect();
    let total: f64 = far.iter().sum();
    // A chance that was above 0 stays above it, or no later step could raise it again.
    let inside = far
        .iter()
        .zip(second)
        .all(|(far, near)| *far > 0.0 || (*far == 0.0 && *near == 0.0));
    inside.then(|| far.iter().map(|chance| chance / total).collect())
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
    use super::super::kaplan_meier::kaplan_meier;
    use super::super::lives::Life;
    use super::*;

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
