//! No value in any cell stops the fits, or moves another battery of a fleet of 150 by a factor of two.

use std::collections::HashMap;

use super::cold::Outlook;
use super::expected_health;
use super::features::of_hazard;
use super::frame::{Frame, HealthTest, Number, Word, Words};
use super::model::{self, Wanted};

const HORIZON_DAYS: f64 = 56.0;

/// A number that looks drawn from 0 to 1 and depends on its place alone.
fn drawn(place: usize, what: usize) -> f64 {
    let mixed = (place as u64 * 31 + what as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 40) as f64
        / (1_u64 << 24) as f64
}

type Numbers = HashMap<Number, Vec<f64>>;

/// Looks at batteries, each with one test before it.
#[derive(Clone)]
struct Looks {
    numbers: Numbers,
    failed: Vec<bool>,
    tests: Vec<HealthTest>,
}

/// Batteries that lose 8 % a year, each looked at several times and tested between; old ones fail.
fn looks(batteries: usize, looks: usize) -> Looks {
    let rows = batteries * looks;
    let mut numbers: Numbers = Number::ALL
        .iter()
        .map(|name| (*name, vec![0.0; rows]))
        .collect();
    let mut failed = vec![false; rows];
    let mut tests = Vec::with_capacity(rows);
    let mut set = |name: Number, row: usize, value: f64| {
        if let Some(column) = numbers.get_mut(&name) {
            column[row] = value;
        }
    };
    for battery in 0..batteries {
        let first_age = 2_500.0 * drawn(battery, 1);
        let pace = 0.08 * (0.7 + 0.6 * drawn(battery, 2));
        for step in 0..looks {
            let row = battery * looks + step;
            let age = first_age + 56.0 * (looks - step) as f64;
            let at = |days: f64| 1.05 - pace * days / 365.25;
            let tested = (age - 30.0).max(1.0);
            let health = at(tested) + 0.08 * (drawn(row, 3) - 0.5);
            set(Number::PeriodsBack, row, step as f64);
            set(Number::AgeDays, row, age);
            set(Number::RestVoltageV, row, 12.7);
            set(Number::Health, row, health);
            set(Number::HealthTests, row, 1.0);
            tests.push(HealthTest {
                age_years: tested / 365.25,
                health,
            });
            set(
                Number::NextHealth,
                row,
                at(age + 28.0) + 0.08 * (drawn(row, 4) - 0.5),
            );
            set(Number::Heat, row, 0.4 + 0.2 * drawn(battery, 5));
            set(Number::KmPerDay, row, 40.0);
            set(Number::DaysSinceHealth, row, 30.0);
            set(Number::DaysSinceTest, row, 30.0);
            set(
                Number::WatchedDays,
                row,
                if step == 0 { 0.0 } else { HORIZON_DAYS },
            );
            set(Number::Weight, row, if step == 0 { 0.0 } else { 0.5 });
            failed[row] = step == 1 && drawn(battery, 6) < (0.9 - at(age)).max(0.0);
        }
    }
    Looks {
        numbers,
        failed,
        tests,
    }
}

fn frame(looks: Looks) -> Frame {
    let Looks {
        mut numbers,
        failed,
        tests,
    } = looks;
    let rows = failed.len();
    let words = |column: Word| {
        let mut words = Words::default();
        for battery in (0..rows).map(|row| row / 6) {
            match column {
                Word::Vin => words.push(Some(&format!("V{battery:05}"))),
                Word::Position => words.push(Some("main")),
                Word::Chemistry if battery.is_multiple_of(40) => words.push(Some("lithium")),
                Word::Chemistry => words.push(Some("AGM")),
                _ => words.push(None),
            }
        }
        words
    };
    Frame::new(
        failed,
        |column| numbers.remove(&column).expect("a column"),
        words,
    )
    .with_tests(tests, (0..rows).collect())
}

/// The predictor of every row to be foretold.
fn ranking(frame: &Frame) -> Vec<f64> {
    let health = expected_health::fit(frame, HORIZON_DAYS);
    let expected = expected_health::predict(frame, &health.slopes, HORIZON_DAYS);
    let features = of_hazard(frame, &expected.lost, Outlook::Came, HORIZON_DAYS);
    let wanted = Wanted {
        horizon_days: HORIZON_DAYS,
        ridge: Some(300.0),
        prior_failures: 20,
    };
    let model = model::fit(frame, &features, wanted);
    let rows = frame.current();
    let cells = super::scaled::design(&features, &model.scaling, &rows);
    cells
        .chunks(features.len())
        .map(|row| {
            let line: f64 = row
                .iter()
                .zip(&model.fit.coefficients)
                .map(|(x, b)| x * b)
                .sum();
            model.fit.intercept + line
        })
        .collect()
}

#[test]
fn no_single_cell_stops_a_fit_or_moves_the_others_far() {
    let sound = looks(150, 6);
    let before = ranking(&frame(sound.clone()));
    let wrong = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1e12, 0.0, 1e12];
    for trial in 0..240 {
        let name = Number::ALL[trial % Number::ALL.len()];
        // Made by the query from whole days, never from a cell.
        if [Number::PeriodsBack, Number::Weight, Number::WatchedDays].contains(&name) {
            continue;
        }
        let row = (drawn(trial, 7) * sound.failed.len() as f64) as usize;
        let mut spoilt = sound.clone();
        spoilt.numbers.get_mut(&name).expect("a column")[row] =
            wrong[trial / Number::ALL.len() % wrong.len()];
        let after = ranking(&frame(spoilt));
        for (place, (before, after)) in before.iter().zip(&after).enumerate() {
            assert!(after.is_finite(), "{name:?} of row {row}: {after}");
            assert!(
                place == row / 6 || (before - after).abs() < 0.7,
                "{name:?} of row {row} moves battery {place} from {before} to {after}"
            );
        }
    }
}

#[test]
fn fifty_ratings_typed_at_half_leave_a_ranking() {
    let sound = looks(700, 6);
    let before = ranking(&frame(sound.clone()));
    let mut spoilt = sound;
    // Every share of these batteries is twice what it is; the query sets those beyond 1.4 aside, here
    // none is.
    for battery in (0..700).step_by(14) {
        for row in battery * 6..battery * 6 + 6 {
            for name in [Number::Health, Number::NextHealth] {
                spoilt.numbers.get_mut(&name).expect("a column")[row] *= 2.0;
            }
            spoilt.tests[row].health *= 2.0;
        }
    }
    let after = ranking(&frame(spoilt));
    let mut moved: Vec<f64> = before
        .iter()
        .zip(&after)
        .map(|(b, a)| (a - b).abs())
        .collect();
    moved.sort_unstable_by(f64::total_cmp);
    assert!(moved.iter().all(|moved| moved.is_finite()));
    assert!(
        moved[350] < 0.25,
        "the median battery moves by {}",
        moved[350]
    );
}
