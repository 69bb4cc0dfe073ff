//! Lives compared in SQL: do cohorts differ, and how long does a life last on average up to an age.
//!
//! Where there is nothing to compare, or the age lies beyond what was followed, the counts stand and
//! the rest is null.

use arrow::datatypes::DataType;
use datafusion::logical_expr::AggregateUDF;

use super::Documented;
use super::answer::{number_fields, numbers};
use super::collect::collecting;
use super::life::observed;
use crate::statistics::Life;
use crate::statistics::kaplan_meier::kaplan_meier;
use crate::statistics::limits::two_sided_z;
use crate::statistics::log_rank::log_rank as compare;

const CONFIDENCE: f64 = 0.95;

/// The test's work grows with the square of the cohorts.
const MOST_COHORTS: usize = 200;

const DIFFERENCE: [&str; 5] = [
    "chi_square",
    "degrees_of_freedom",
    "p",
    "cohorts",
    "failures",
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
            |columns| {
                // Sorted by cohort, so each cohort is one run of rows.
                let rows: Vec<usize> = (0..columns[0].len()).collect();
                let cohorts: Vec<Vec<Life>> = rows
                    .chunk_by(|left, right| columns[0][*left] == columns[0][*right])
                    .map(|run| {
                        let span = run[0]..run[0] + run.len();
                        let own = |column: &Vec<f64>| column[span.clone()].to_vec();
                        observed(&columns[1..].iter().map(own).collect::<Vec<_>>())
                    })
                    .filter(|lives| !lives.is_empty())
                    .collect();
                let lives: Vec<&[Life]> = cohorts.iter().map(Vec::as_slice).collect();
                let failures = lives.iter().flat_map(|lives| lives.iter());
                let failures = failures.filter(|life| life.event).count();
                let test = (lives.len() <= MOST_COHORTS)
                    .then(|| compare(&lives).ok())
                    .flatten();
                Ok(numbers(
                    &DIFFERENCE,
                    &[
                        test.as_ref().map(|test| test.chi_square),
                        test.as_ref().map(|test| test.degrees_of_freedom as f64),
                        test.as_ref().map(|test| test.p),
                        Some(cohorts.len() as f64),
                        Some(failures as f64),
                    ],
                ))
            },
        ),
        signature: "log_rank(cohort, entry, exit, failed)",
        about: "log-rank test that lives of cohorts (numbers) have one hazard at each age: a struct of chi-square, degrees of freedom and p (null below two cohorts and above 200), cohorts and failures",
    }
}

const MEAN_LIFE: [&str; 6] = ["mean", "lower", "upper", "given_age", "lives", "failures"];

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
                let lives = observed(columns);
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
                    ],
                ))
            },
        ),
        signature: "mean_life_until(entry, exit, failed, until)",
        about: "mean life up to an age (area under the Kaplan–Meier curve up to it, the least age given counts) with 95 % limits, from given_age on where nobody younger was followed: a struct; null beyond the last follow-up",
    }
}
