//! What new life costs: the table replacement_policy.
//!
//! For each chemistry in each band of heat, what new life costs a day when batteries are replaced at the best age
//! (renewal-reward): what waiting a while longer is worth. Priced too for failures that cost half and
//! double, so that the plan can say how much it leans on that price.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{numbers, rows_of, text_column};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use statistics::lives::age_replacement::best_replacement_age;
use statistics::lives::weibull_law::Weibull;

pub const REPLACEMENT_POLICY: Computed = Computed {
    name: "replacement_policy",
    about: "One row is a chemistry in a band of heat: what a planned replacement costs, and new life a day at the best age.",
    reads: &["life_law"],
    make: |analysis| replacement_policy(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct StoredLaw {
    chemistry: String,
    heat_band: String,
    shape: f64,
    scale_days: f64,
}

impl StoredLaw {
    fn law(&self) -> Weibull {
        Weibull {
            shape: self.shape,
            scale: self.scale_days,
        }
    }
}

/// What new life costs a day, and the best age to replace at, where there is one.
fn price(law: &Weibull, planned: f64, failure: f64) -> (f64, f64) {
    match best_replacement_age(law, planned, failure.max(planned)) {
        Ok(policy) => (policy.cost_rate, policy.age.unwrap_or(f64::NAN)),
        // Without an answer, the price of a battery over its life.
        Err(_) => (planned / law.mean(), f64::NAN),
    }
}

async fn replacement_policy(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let cost = &analysis.settings().cost;
    let laws: Vec<StoredLaw> = analysis
        .rows("SELECT chemistry, heat_band, shape, scale_days FROM life_law ORDER BY chemistry, heat_band")
        .await?;
    let planned = |kept: &StoredLaw| cost.planned(Some(&kept.chemistry));
    let of = |failure: f64| -> Vec<(f64, f64)> {
        laws.iter()
            .map(|kept| price(&kept.law(), planned(kept), failure))
            .collect()
    };
    let usual = of(cost.unplanned_failure);
    let a_day = |prices: &[(f64, f64)]| numbers(prices.iter().map(|(a_day, _)| *a_day));
    rows_of(vec![
        (
            "chemistry",
            text_column(laws.iter().map(|kept| kept.chemistry.as_str())),
        ),
        (
            "heat_band",
            text_column(laws.iter().map(|kept| kept.heat_band.as_str())),
        ),
        ("planned_cost", numbers(laws.iter().map(planned))),
        ("cost_per_day", a_day(&usual)),
        (
            "best_age_days",
            numbers(usual.iter().map(|(_, best_age)| *best_age)),
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
