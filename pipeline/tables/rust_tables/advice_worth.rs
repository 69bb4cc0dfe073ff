//! What following the reports' advice was worth: the table advice_worth.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{counts, numbers, rows_of};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::advice_worth::{Advised, left_alone};

pub const ADVICE_WORTH: Computed = Computed {
    name: "advice_worth",
    about: "One row, where reports' days are over: of the batteries they wanted seen to, the failures that would have come had none been, those that came, and what the difference was worth.",
    reads: &["advice_told"],
    make: |analysis| advice_worth(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct Told {
    week: String,
    chemistry: Option<String>,
    action: String,
    chance: f64,
    horizon_days: f64,
    replaced_days: Option<f64>,
    tested_days: Option<f64>,
    seen_to_days: Option<f64>,
    failed_days: Option<f64>,
    left_days: Option<f64>,
    place_failed: bool,
}

impl Told {
    fn advised(&self) -> Advised {
        Advised {
            chance: self.chance,
            horizon_days: self.horizon_days,
            test_first: self.action == "test first",
            seen_to: self.seen_to_days,
            failed: self.failed_days,
            left: self.left_days,
        }
    }
}

async fn advice_worth(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let cost = &analysis.settings().cost;
    let told: Vec<Told> = analysis
        .rows(
            "SELECT week, chemistry, action, chance, CAST(horizon_days AS DOUBLE) AS horizon_days,
                    CAST(replaced_days AS DOUBLE) AS replaced_days, CAST(tested_days AS DOUBLE) AS tested_days,
                    CAST(seen_to_days AS DOUBLE) AS seen_to_days, CAST(failed_days AS DOUBLE) AS failed_days,
                    CAST(left_days AS DOUBLE) AS left_days, place_failed
             FROM advice_told ORDER BY week, vin, position",
        )
        .await?;
    let advised: Vec<Advised> = told.iter().map(Told::advised).collect();
    let found: Vec<_> = left_alone(&advised).into_iter().collect();
    let count = |wanted: fn(&Told) -> bool| {
        let of = told.iter().filter(|one| wanted(one)).count() as i64;
        counts(found.iter().map(move |_| of))
    };
    let mut weeks: Vec<&str> = told.iter().map(|one| one.week.as_str()).collect();
    weeks.dedup();
    let failed = told.iter().filter(|one| one.place_failed).count() as f64;
    let of_failures = |failures: f64| (failures - failed) * cost.unplanned_failure;
    let spent: f64 = told
        .iter()
        .map(|one| {
            let tests = f64::from(u8::from(one.tested_days.is_some())) * cost.battery_test;
            let replaced = one.replaced_days.is_some();
            tests + f64::from(u8::from(replaced)) * cost.planned(one.chemistry.as_deref())
        })
        .sum();
    rows_of(vec![
        ("reports", counts(found.iter().map(|_| weeks.len() as i64))),
        ("told", count(|_| true)),
        ("seen_to", count(|one| one.seen_to_days.is_some())),
        ("replaced", count(|one| one.replaced_days.is_some())),
        ("failed", count(|one| one.place_failed)),
        (
            "failures_left_alone",
            numbers(found.iter().map(|one| one.failures)),
        ),
        (
            "failures_left_alone_lower",
            numbers(found.iter().map(|one| one.limits.lower)),
        ),
        (
            "failures_left_alone_upper",
            numbers(found.iter().map(|one| one.limits.upper)),
        ),
        (
            "spared",
            numbers(found.iter().map(|one| of_failures(one.failures))),
        ),
        (
            "spared_lower",
            numbers(found.iter().map(|one| of_failures(one.limits.lower))),
        ),
        (
            "spared_upper",
            numbers(found.iter().map(|one| of_failures(one.limits.upper))),
        ),
        ("spent", numbers(found.iter().map(|_| spent))),
    ])
}
