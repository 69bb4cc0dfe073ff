//! What replacing costs and is worth, and which batteries a depot replaces this week.
//!
//! replacement_policy says, for each chemistry, what new life costs a day when batteries are replaced
//! at the best age (renewal-reward): what waiting a while longer is worth. replacement_choice takes, for
//! each depot, the batteries whose replacement saves most within its bays and its budget.

use std::collections::BTreeMap;

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{numbers, rows_of, words};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::knapsack::{Item, best_choice};
use statistics::lives::age_replacement::best_replacement_age;
use statistics::lives::weibull_law::Weibull;

pub const REPLACEMENT_POLICY: Computed = Computed {
    name: "replacement_policy",
    about: "One row is a chemistry: what a planned replacement costs, and new life a day at the best age.",
    reads: &["life_law"],
    make: |analysis| replacement_policy(analysis).boxed(),
};

pub const REPLACEMENT_CHOICE: Computed = Computed {
    name: "replacement_choice",
    about: "One row is a battery to replace this week: the best choice within the depot's bays and budget.",
    reads: &["replacement_offer"],
    make: |analysis| replacement_choice(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct KeptLaw {
    chemistry: String,
    shape: f64,
    scale_days: f64,
}

async fn replacement_policy(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let cost = &analysis.settings().cost;
    let laws: Vec<KeptLaw> = analysis
        .rows("SELECT chemistry, shape, scale_days FROM life_law ORDER BY chemistry")
        .await?;
    let mut planned_costs = Vec::new();
    let mut a_day = Vec::new();
    let mut best_ages = Vec::new();
    for kept in &laws {
        let planned = cost.planned(Some(&kept.chemistry));
        let law = Weibull {
            shape: kept.shape,
            scale: kept.scale_days,
        };
        let policy = best_replacement_age(&law, planned, cost.unplanned_failure.max(planned)).ok();
        planned_costs.push(planned);
        // Without an answer, the price of a battery over its life.
        a_day.push(policy.map_or(planned / law.mean(), |policy| policy.cost_rate));
        best_ages.push(policy.and_then(|policy| policy.age).unwrap_or(f64::NAN));
    }
    rows_of(vec![
        (
            "chemistry",
            words(laws.iter().map(|kept| kept.chemistry.as_str())),
        ),
        ("planned_cost", numbers(planned_costs.into_iter())),
        ("cost_per_day", numbers(a_day.into_iter())),
        ("best_age_days", numbers(best_ages.into_iter())),
    ])
}

#[derive(Debug, Deserialize)]
struct Offer {
    vin: String,
    position: String,
    depot: String,
    planned_cost: f64,
    saving: f64,
    must: bool,
}

async fn replacement_choice(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let plan = &analysis.settings().plan;
    let offers: Vec<Offer> = analysis
        .rows(
            "SELECT vin, position, depot, planned_cost, saving, wanted = 'must' AS must
             FROM replacement_offer WHERE wanted IN ('must', 'this week')
             ORDER BY depot, vin, position",
        )
        .await?;
    let mut by_depot: BTreeMap<&str, Vec<&Offer>> = BTreeMap::new();
    for offer in &offers {
        by_depot.entry(&offer.depot).or_default().push(offer);
    }
    let mut chosen: Vec<&Offer> = Vec::new();
    for (depot, offers) in by_depot {
        let (bays, budget) = plan.limits(depot);
        // What has failed is replaced whatever the plan says, and takes its bay and its money.
        let (must, may): (Vec<&Offer>, Vec<&Offer>) = offers.iter().partition(|offer| offer.must);
        let spent: f64 = must.iter().map(|offer| offer.planned_cost).sum();
        let bays = bays.saturating_sub(must.len());
        let items: Vec<Item> = may
            .iter()
            .map(|offer| Item {
                cost: offer.planned_cost,
                value: offer.saving,
            })
            .collect();
        chosen.extend(must);
        chosen.extend(
            best_choice(&items, bays, budget - spent)
                .into_iter()
                .map(|at| may[at]),
        );
    }
    rows_of(vec![
        ("vin", words(chosen.iter().map(|offer| offer.vin.as_str()))),
        (
            "position",
            words(chosen.iter().map(|offer| offer.position.as_str())),
        ),
    ])
}
