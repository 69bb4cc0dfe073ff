//! What new life costs: the table replacement_policy.
//!
//! For each chemistry, what new life costs a day when batteries are replaced at the best age
//! (renewal-reward): what waiting a while longer is worth. Priced too for failures that cost half and
//! double, so that the plan can say how much it leans on that price.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{numbers, rows_of, words};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::life_price::{Life, LifeLaws};
use statistics::lives::age_replacement::best_replacement_age;
use statistics::lives::weibull_law::Weibull;
use trade::words::Chemistry;

pub const REPLACEMENT_POLICY: Computed = Computed {
    name: "replacement_policy",
    about: "One row is a chemistry: what a planned replacement costs, and new life a day at the best age.",
    reads: &["life_fit", "battery_life"],
    make: |analysis| replacement_policy(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct FleetFit {
    failures: Option<f64>,
    shape: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Lived {
    chemistry: Option<String>,
    entry_age_days: Option<f64>,
    exit_age_days: Option<f64>,
    failed: bool,
}

/// The laws of life, from this fleet and from what is usual.
async fn life_laws(analysis: &Analysis) -> Result<LifeLaws, AnalysisError> {
    let fits: Vec<FleetFit> = analysis
        .rows(
            "SELECT fit['failures'] AS failures, fit['shape'] AS shape
             FROM life_fit WHERE cohort = 'all batteries'",
        )
        .await?;
    let lived: Vec<Lived> = analysis
        .rows(
            "SELECT chemistry, CAST(entry_age_days AS DOUBLE) AS entry_age_days,
                    CAST(exit_age_days AS DOUBLE) AS exit_age_days, COALESCE(failed, FALSE) AS failed
             FROM battery_life ORDER BY vin, position, battery_no",
        )
        .await?;
    let lives: Vec<Life> = lived
        .into_iter()
        .filter_map(|life| {
            Some(Life {
                chemistry: life.chemistry,
                entry_days: life.entry_age_days?,
                exit_days: life.exit_age_days?,
                failed: life.failed,
            })
        })
        .collect();
    let shape = fits
        .first()
        .and_then(|fit| Some((fit.shape?, fit.failures?)));
    let months = analysis.settings().cost.battery_life_months;
    Ok(LifeLaws::new(&lives, shape, months))
}

/// What new life costs a day, and the best age to replace at, where there is one.
fn price(law: &Weibull, planned: f64, failure: f64) -> (f64, f64) {
    match best_replacement_age(law, planned, failure.max(planned)) {
        Ok(policy) => (policy.cost_rate, policy.age.unwrap_or(f64::NAN)),
        Err(_) => (planned / law.mean(), f64::NAN),
    }
}

async fn replacement_policy(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let cost = &analysis.settings().cost;
    let laws = life_laws(analysis).await?;
    let known = Chemistry::ALL.iter().map(|chemistry| chemistry.as_str());
    let names: Vec<&str> = known.chain(["not known"]).collect();
    let of = |failure: f64| -> Vec<(f64, f64)> {
        names
            .iter()
            .map(|name| price(&laws.of(Some(name)), cost.planned(Some(name)), failure))
            .collect()
    };
    let usual = of(cost.unplanned_failure);
    let a_day = |prices: &[(f64, f64)]| numbers(prices.iter().map(|(a_day, _)| *a_day));
    rows_of(vec![
        ("chemistry", words(names.iter().copied())),
        (
            "planned_cost",
            numbers(names.iter().map(|name| cost.planned(Some(name)))),
        ),
        ("cost_per_day", a_day(&usual)),
        (
            "best_age_days",
            numbers(usual.iter().map(|(_, best_age)| *best_age)),
        ),
        (
            "mean_life_days",
            numbers(names.iter().map(|name| laws.of(Some(name)).mean())),
        ),
        (
            "cost_per_day_failure_half",
            a_day(&of(cost.unplanned_failure / 2.0)),
        ),
        (
            "cost_per_day_failure_double",
            a_day(&of(cost.unplanned_failure * 2.0)),
        ),
    ])
}
