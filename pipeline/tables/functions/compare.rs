//! Lives compared in SQL: do cohorts differ, and how long does a life last on average up to an age.
//!
//! Where there is nothing to compare, or the age lies beyond what was followed, the counts stand and
//! the rest is null.

use arrow::datatypes::DataType;
use datafusion::logical_expr::AggregateUDF;
use datafusion::scalar::ScalarValue;

use super::Documented;
use super::answer::{number_fields, numbers};
use super::collect::collecting;
use super::life::{Observed, observed};
use statistics::Life;
use statistics::limits::two_sided_z;
use statistics::lives::kaplan_meier::kaplan_meier;
use statistics::lives::log_rank::stratified_log_rank;

const CONFIDENCE: f64 = 0.95;

/// The test's work grows with the square of the cohorts.
const MOST_COHORTS: usize = 200;

const DIFFERENCE: [&str; 6] = [
    "chi_square",
    "degrees_of_freedom",
    "p",
    "cohorts",
    "failures",
    "ended_at_entry",
];

/// `log_rank(cohort, entry, exit, failed)`.
pub fn log_rank() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "log_rank",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
            ],
            DataType::Struct(number_fields(&DIFFERENCE)),
            |columns| Ok(difference(|_| 0.0, columns)),
        ),
        signature: "log_rank(cohort, entry, exit, failed)",
        about: "log-rank test that lives of cohorts (numbers) have one hazard at each age: a struct of chi-square, degrees of freedom and p (null below two cohorts and above 200), cohorts and failures, and how many ended at the very age they entered at, which are not compared",
    }
}

/// `log_rank_within(stratum, cohort, entry, exit, failed)`.
pub fn log_rank_within() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "log_rank_within",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
            ],
            DataType::Struct(number_fields(&DIFFERENCE)),
            |columns| Ok(difference(|row| columns[0][row], &columns[1..])),
        ),
        signature: "log_rank_within(stratum, cohort, entry, exit, failed)",
        about: "log_rank with lives compared only to those of the same stratum (a number), such as one depot: a struct likewise",
    }
}

/// The test of lives as sorted columns of cohort, entry, exit and failed, in the strata of the rows.
fn difference(stratum: impl Fn(usize) -> f64, columns: &[Vec<f64>]) -> ScalarValue {
    let [cohorts, lives @ ..] = columns else {
        return numbers(&DIFFERENCE, &[None; DIFFERENCE.len()]);
    };
    let rows: Vec<usize> = (0..cohorts.len()).collect();
    let place = |row: usize| (stratum(row), cohorts[row]);
    let mut at_entry = 0.0;
    let mut runs: Vec<(f64, f64, Vec<Life>)> = rows
        .chunk_by(|left, right| place(*left) == place(*right))
        .map(|run| {
            let span = run[0]..run[0] + run.len();
            let own = |column: &Vec<f64>| column[span.clone()].to_vec();
            let Observed {
                lives,
                ended_at_entry,
            } = observed(&lives.iter().map(own).collect::<Vec<_>>());
            at_entry += ended_at_entry;
            let (stratum, cohort) = place(run[0]);
            (stratum, cohort, lives)
        })
        .collect();
    runs.retain(|(_, _, lives)| !lives.is_empty());
    let mut known: Vec<f64> = runs.iter().map(|run| run.1).collect();
    known.sort_unstable_by(f64::total_cmp);
    known.dedup();
    // Every stratum lists every cohort, those it does not have without a life.
    let by_stratum = |own: &[(f64, f64, Vec<Life>)]| -> Vec<Vec<Life>> {
        let of = |cohort: &f64| own.iter().find(|run| run.1 == *cohort);
        let lives = |cohort: &f64| of(cohort).map_or(Vec::new(), |run| run.2.clone());
        known.iter().map(lives).collect()
    };
    let failures: usize = runs
        .iter()
        .flat_map(|run| &run.2)
        .filter(|life| life.event)
        .count();
    let test = if known.len() <= MOST_COHORTS {
        let own = runs.chunk_by(|left, right| left.0 == right.0);
        let lives: Vec<Vec<Vec<Life>>> = own.map(by_stratum).collect();
        let lives: Vec<Vec<&[Life]>> = lives
            .iter()
            .map(|cohorts| cohorts.iter().map(Vec::as_slice).collect())
            .collect();
        let lives: Vec<&[&[Life]]> = lives.iter().map(Vec::as_slice).collect();
        stratified_log_rank(&lives).ok()
    } else {
        None
    };
    numbers(
        &DIFFERENCE,
        &[
            test.as_ref().map(|test| test.chi_square),
            test.as_ref().map(|test| test.degrees_of_freedom as f64),
            test.as_ref().map(|test| test.p),
            Some(known.len() as f64),
            Some(failures as f64),
            Some(at_entry),
        ],
    )
}

const MEAN_LIFE: [&str; 7] = [
    "mean",
    "lower",
    "upper",
    "given_age",
    "lives",
    "failures",
    "ended_at_entry",
];

/// `mean_life_until(entry, exit, failed, until)`.
pub fn mean_life_until() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "mean_life_until",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
                DataType::Float64,
            ],
            DataType::Struct(number_fields(&MEAN_LIFE)),
            |columns| {
                let Observed {
                    lives,
                    ended_at_entry,
                } = observed(columns);
                let until = columns[3].iter().copied().fold(f64::INFINITY, f64::min);
                let curve = kaplan_meier(&lives, CONFIDENCE).ok();
                let mean = curve
                    .as_ref()
                    .and_then(|curve| curve.restricted_mean(until).ok());
                let z = two_sided_z(CONFIDENCE).ok();
                let reach = mean.zip(z).map(|(mean, z)| z * mean.se);
                let given_age = curve.as_ref().map(|curve| curve.given_age);
                let most = given_age.map(|given_age| (until - given_age).max(0.0));
                let estimate = mean.map(|mean| mean.mean);
                let upper = estimate.zip(reach).zip(most);
                Ok(numbers(
                    &MEAN_LIFE,
                    &[
                        estimate,
                        estimate.zip(reach).map(|(mean, by)| (mean - by).max(0.0)),
                        upper.map(|((mean, by), most)| (mean + by).min(most)),
                        given_age,
                        Some(lives.len() as f64),
                        Some(lives.iter().filter(|life| life.event).count() as f64),
                        Some(ended_at_entry),
                    ],
                ))
            },
        ),
        signature: "mean_life_until(entry, exit, failed, until)",
        about: "mean life up to an age (area under the Kaplan–Meier curve up to it, the least age given counts) with 95 % limits, from given_age on where nobody younger was followed: a struct; null beyond the last follow-up; ended_at_entry as in survival_steps",
    }
}
