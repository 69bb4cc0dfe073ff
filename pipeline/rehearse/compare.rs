//! The policies side by side over several fleets, each fleet lived under every one of them.
//!
//! Of a policy that is tried at several values the one that cost least in all is told: the best in
//! hindsight, which favours it. Limits are Student's, of the fleets' means and of their differences
//! in pairs; those of the share of the saving are a jackknife's over the fleets (Efron and Tibshirani,
//! An Introduction to the Bootstrap, chapter 11; from memory). Nothing here fails.

use statistics::distributions::student_quantile;

use super::policy::Policy;
use super::{Afterwards, Run};

/// A mean over fleets with its 95 % limits; none of one fleet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    pub value: f64,
    pub half_width: Option<f64>,
}

/// A policy at its best value.
#[derive(Debug, Clone)]
pub struct Told {
    pub policy: Policy,
    /// Money a vehicle and year under the policy, what came afterwards included.
    pub cost: Mean,
    /// What it cost beyond the weekly plan, on the same fleets; none for the plan itself or without it.
    pub beyond_plan: Option<Mean>,
    /// Its saving against running to failure, as a share of that of one who sees the hidden state.
    pub share_of_saving: Option<Mean>,
    /// In a hundred vehicles' year.
    pub failures: f64,
    /// Failures afterwards, in the same measure.
    pub failures_after: f64,
    pub replacements: f64,
    pub tests: f64,
    pub special_visits: f64,
}

/// The policies in the order they stand in the runs, with what came afterwards in one of the ways.
pub fn compare(runs: &[Run], afterwards: Afterwards) -> Vec<Told> {
    let best = best_of_each(runs, afterwards);
    let costs_of = |runs: &[&Run]| costs_of(runs, afterwards);
    let costs = |wanted: &dyn Fn(&Policy) -> bool| -> Option<Vec<f64>> {
        let found = best.iter().find(|(policy, _)| wanted(policy));
        found.map(|(_, of_policy)| costs_of(of_policy))
    };
    let plan = costs(&|policy| *policy == Policy::WeeklyPlan);
    let to_failure = costs(&|policy| *policy == Policy::RunToFailure);
    let seeing = costs(&|policy| matches!(policy, Policy::SeesTheHidden { .. }));
    let told = best.iter().map(|(policy, of_policy)| {
        let own = costs_of(of_policy);
        let beyond_plan = plan
            .as_ref()
            .filter(|_| *policy != Policy::WeeklyPlan)
            .map(|plan| mean(&differences(&own, plan)));
        let share_of_saving = to_failure
            .as_ref()
            .zip(seeing.as_ref())
            .filter(|_| *policy != Policy::RunToFailure)
            .and_then(|(none, all)| ratio(&differences(none, &own), &differences(none, all)));
        let a_hundred = |count: &dyn Fn(&Run) -> u64| {
            let each = of_policy.iter();
            let each = each.map(|run| run.ledger.a_vehicle_year(100.0 * count(run) as f64));
            each.sum::<f64>() / of_policy.len() as f64
        };
        Told {
            policy: *policy,
            cost: mean(&own),
            beyond_plan,
            share_of_saving,
            failures_after: a_hundred(&|run| run.after(afterwards).failures),
            failures: a_hundred(&|run| run.ledger.failures),
            replacements: a_hundred(&|run| run.ledger.replacements),
            tests: a_hundred(&|run| run.ledger.tests),
            special_visits: a_hundred(&|run| run.ledger.special_visits),
        }
    });
    told.collect()
}

/// Each policy at the value that cost least over the fleets, with its runs in the fleets' order.
fn best_of_each(runs: &[Run], afterwards: Afterwards) -> Vec<(Policy, Vec<&Run>)> {
    let mut tried: Vec<(Policy, Vec<&Run>)> = Vec::new();
    for run in runs {
        match tried.iter_mut().find(|(policy, _)| *policy == run.policy) {
            Some((_, of_policy)) => of_policy.push(run),
            None => tried.push((run.policy, vec![run])),
        }
    }
    let mut best: Vec<(Policy, Vec<&Run>)> = Vec::new();
    for (policy, of_policy) in tried {
        let cost = |runs: &[&Run]| costs_of(runs, afterwards).iter().sum::<f64>();
        match best
            .iter_mut()
            .find(|(other, _)| other.name() == policy.name())
        {
            Some(found) if cost(&of_policy) < cost(&found.1) => *found = (policy, of_policy),
            Some(_) => {}
            None => best.push((policy, of_policy)),
        }
    }
    best
}

fn costs_of(runs: &[&Run], afterwards: Afterwards) -> Vec<f64> {
    let each = runs.iter();
    each.map(|run| run.cost_a_vehicle_year(afterwards))
        .collect()
}

fn differences(one: &[f64], other: &[f64]) -> Vec<f64> {
    one.iter().zip(other).map(|(a, b)| a - b).collect()
}

fn mean(values: &[f64]) -> Mean {
    let n = values.len() as f64;
    let value = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|one| (one - value).powi(2)).sum();
    Mean {
        value,
        half_width: (n > 1.0)
            .then(|| student_quantile(0.975, n - 1.0) * (squares / (n - 1.0) / n).sqrt()),
    }
}

/// The ratio of two sums, with a jackknife's limits; none where there is nothing to divide by.
fn ratio(parts: &[f64], wholes: &[f64]) -> Option<Mean> {
    let n = parts.len() as f64;
    let (part, whole): (f64, f64) = (parts.iter().sum(), wholes.iter().sum());
    if whole <= 0.0 {
        return None;
    }
    let without: Vec<f64> = parts
        .iter()
        .zip(wholes)
        .map(|(one, of)| (part - one) / (whole - of))
        .collect();
    let middle = without.iter().sum::<f64>() / n;
    let squares: f64 = without.iter().map(|one| (one - middle).powi(2)).sum();
    Some(Mean {
        value: part / whole,
        half_width: (n > 1.0)
            .then(|| student_quantile(0.975, n - 1.0) * ((n - 1.0) / n * squares).sqrt()),
    })
}

#[cfg(test)]
mod tests {
    use super::super::ledger::Ledger;
    use super::*;

    /// A fleet of one vehicle for a year that cost so much.
    fn run(seed: u64, policy: Policy, cost: f64) -> Run {
        let ledger = Ledger {
            vehicle_weeks: 5_217_857,
            cost: cost * 100_000.0,
            ..Ledger::default()
        };
        Run {
            seed,
            policy,
            ledger,
            habit: Ledger::default(),
            to_failure: Ledger::default(),
        }
    }

    #[test]
    fn the_best_value_of_each_policy_is_set_against_the_plan_in_pairs() {
        let young = Policy::FixedAge { years: 3.0 };
        let old = Policy::FixedAge { years: 6.0 };
        let seeing = Policy::SeesTheHidden {
            chance: 0.1,
            ability: 0.7,
        };
        let costs = [
            (Policy::RunToFailure, [100.0, 120.0]),
            (young, [95.0, 119.0]),
            (old, [90.0, 100.0]),
            (Policy::WeeklyPlan, [70.0, 82.0]),
            (seeing, [60.0, 70.0]),
        ];
        let runs: Vec<Run> = costs
            .into_iter()
            .flat_map(|(policy, [one, two])| [run(1, policy, one), run(2, policy, two)])
            .collect();
        let told = compare(&runs, Afterwards::Habit);
        let told_of: Vec<Policy> = told.iter().map(|told| told.policy).collect();
        assert_eq!(
            told_of,
            [Policy::RunToFailure, old, Policy::WeeklyPlan, seeing]
        );
        // The best age costs 20 and 18 more than the plan: 19 on average, and with a deviation of
        // sqrt(2) its error is 1, times Student's 12.706 of one degree.
        let beyond = told[1].beyond_plan.expect("a difference");
        assert!((beyond.value - 19.0).abs() < 1e-4);
        assert!((beyond.half_width.expect("limits") - 12.706).abs() < 1e-2);
        // The plan saves 30 + 38 of the 40 + 50 that could be saved.
        let share = told[2].share_of_saving.expect("a share");
        assert!((share.value - 68.0 / 90.0).abs() < 1e-6);
        // Without the first 38 / 50, without the second 30 / 40: deviation 0.005 from their mean each,
        // so the jackknife's error is sqrt(1/2 x 2 x 0.005^2).
        assert!((share.half_width.expect("limits") - 12.706 * 0.005).abs() < 1e-4);
        assert_eq!(told[2].beyond_plan, None);
    }

    #[test]
    fn one_fleet_has_no_limits() {
        let told = compare(&[run(1, Policy::RunToFailure, 5.0)], Afterwards::ToFailure);
        assert_eq!(told[0].cost.half_width, None);
    }
}
