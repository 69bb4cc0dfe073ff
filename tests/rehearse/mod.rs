//! Invented fleets that live on under a policy: what is asked for, what is done, and what it costs.

use std::collections::BTreeMap;

use crate::workplace::Workplace;
use voltwane::rehearse::policy::Policy;
use voltwane::rehearse::{Afterwards, Course, Run, rehearse};
use voltwane::settings::Settings;
use voltwane::synthetic::{Scenario, WorldName};

/// A fleet of the world in which a battery's luck of a week is its own, whatever is decided.
fn course(vehicles: usize, weeks: usize, obedience: f64) -> Course {
    let (before, after) = (20, 26);
    Course {
        scenario: Scenario {
            world: WorldName::ColdReveals,
            truth_weeks: 0,
            futures: 10,
            ..Scenario::new(vehicles, before + weeks + after, 5)
        },
        weeks_before: before,
        weeks,
        every_weeks: 13,
        obedience,
        delay_weeks: 0,
    }
}

async fn lived(course: &Course, policies: &[Policy]) -> Vec<Run> {
    let room = tempfile::tempdir().expect("a folder");
    let settings = Settings::default();
    let runs = rehearse(course, policies, &settings, room.path(), &mut |_| {}).await;
    runs.expect("a rehearsal")
}

const PLAIN: [Policy; 5] = [
    Policy::RunToFailure,
    Policy::FixedAge { years: 3.0 },
    Policy::TestedAtService { share: 0.75 },
    Policy::LastTestFirst { share: 0.75 },
    Policy::SeesTheHidden {
        chance: 0.1,
        ability: 0.7,
    },
];

#[tokio::test]
async fn what_nobody_obeys_is_running_to_failure() {
    let runs = lived(&course(80, 52, 0.0), &PLAIN).await;
    let first = (runs[0].ledger, runs[0].to_failure);
    assert!(first.0.failures > 0 && first.0.cost > 0.0);
    for run in &runs {
        assert_eq!((run.ledger, run.to_failure), first, "{:?}", run.policy);
    }
}

/// Whoever replaces in time has fewer failures while he does and afterwards, and who sees what is hidden
/// replaces fewer batteries for it than who goes by age.
#[tokio::test]
async fn what_is_replaced_does_not_fail() {
    let runs = lived(&course(250, 78, 1.0), &PLAIN).await;
    let failures: Vec<u64> = runs
        .iter()
        .map(|run| run.ledger.failures + run.to_failure.failures)
        .collect();
    assert!(failures[0] >= 40, "{failures:?}");
    for (run, failures) in runs.iter().zip(&failures).skip(1) {
        let few = 10 * failures < 9 * (runs[0].ledger.failures + runs[0].to_failure.failures);
        assert!(few, "{:?}: {failures}", run.policy);
        assert!(run.ledger.replacements > runs[0].ledger.replacements);
    }
    let [_, by_age, at_service, called, seeing] = &runs[..] else {
        panic!("five policies");
    };
    assert_eq!(by_age.ledger.special_visits, 0);
    assert!(at_service.ledger.tests > by_age.ledger.tests);
    assert!(called.ledger.special_visits > 0);
    let a_failure =
        |run: &Run| run.ledger.replacements as f64 / (failures[0] as f64 - run_failures(run));
    assert!(a_failure(seeing) < a_failure(by_age));
}

fn run_failures(run: &Run) -> f64 {
    (run.ledger.failures + run.to_failure.failures) as f64
}

/// A fleet that is tested at each service afterwards fails less than one in which nothing is replaced, and what a
/// policy left in its batteries counts for less there.
#[tokio::test]
async fn what_a_policy_left_counts_by_how_fleets_live_on() {
    let mut course = course(250, 78, 1.0);
    course.scenario.weeks += 78;
    let runs = lived(&course, &PLAIN[..3]).await;
    let beyond = |afterwards| {
        let costs = runs.iter().map(|run: &Run| run.after(afterwards).cost);
        let costs: Vec<f64> = costs.collect();
        costs[0] - costs[2]
    };
    for run in &runs {
        assert!(run.habit.failures <= run.to_failure.failures);
        assert!(run.habit.replacements > run.to_failure.replacements);
    }
    assert!(5 * runs[0].habit.failures < 4 * runs[0].to_failure.failures);
    assert!(beyond(Afterwards::ToFailure) > beyond(Afterwards::Habit));
}

#[tokio::test]
async fn what_is_asked_for_is_done_later_where_shops_are_slow() {
    let policies = [Policy::RunToFailure, Policy::FixedAge { years: 3.0 }];
    let late = Course {
        delay_weeks: 52,
        ..course(80, 52, 1.0)
    };
    let runs = lived(&late, &policies).await;
    // Nothing of it falls into the year.
    assert_eq!(runs[1].ledger, runs[0].ledger);
}

/// The plan is made from a lake of its own dumps; what it asks for is of batteries that are there.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_weekly_plan_is_followed() {
    let mut course = course(60, 26, 1.0);
    course.weeks_before = 78;
    course.scenario.weeks += 58;
    let policies = [Policy::RunToFailure, Policy::WeeklyPlan];
    let runs = lived(&course, &policies).await;
    let [nothing, plan] = &runs[..] else {
        panic!("two policies");
    };
    assert_eq!(nothing.ledger.vehicle_weeks, plan.ledger.vehicle_weeks);
    assert!(plan.ledger.replacements > nothing.ledger.replacements);
    assert!(plan.ledger.refused * 20 <= plan.ledger.vehicle_weeks);
}

#[test]
fn a_policy_tried_at_several_values_stands_once() {
    let mut named: BTreeMap<&str, usize> = BTreeMap::new();
    for policy in Policy::all() {
        *named.entry(policy.name()).or_default() += 1;
    }
    assert_eq!(named.len(), 6);
    assert_eq!((named["run to failure"], named["the weekly plan"]), (1, 1));
}

#[test]
fn a_share_beyond_one_is_refused() {
    let place = Workplace::new();
    let output = place.run(&["rehearse", "--obedience", "1.5"]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("give a share from 0 to 1"), "{told}");
}
