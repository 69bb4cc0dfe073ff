//! life_law: the law of battery life that new life is priced by.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{counts, numbers, rows_of, words};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::life_law::{WatchedLife, chemistry_law, fleet_law};
use statistics::lives::life::Life;
use trade::words::Chemistry;

const DAYS_A_MONTH: f64 = 30.4375;

pub const LIFE_LAW: Computed = Computed {
    name: "life_law",
    about: "One row is a chemistry: the Weibull law of its life in days, what the fleet shows blended with what is believed before.",
    reads: &["battery_life"],
    make: |analysis| life_law(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct KeptLife {
    chemistry: Option<String>,
    entry_age_days: f64,
    exit_age_days: f64,
    failed: bool,
}

async fn life_law(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let mean_life_days = analysis.settings().cost.battery_life_months * DAYS_A_MONTH;
    let kept: Vec<KeptLife> = analysis
        .rows(
            "SELECT chemistry, entry_age_days, exit_age_days, failed
             FROM battery_life WHERE exit_age_days > entry_age_days AND entry_age_days >= 0
             ORDER BY vin, position, battery_no",
        )
        .await?;
    let lives: Vec<WatchedLife> = kept
        .iter()
        .map(|one| WatchedLife {
            chemistry: one
                .chemistry
                .as_deref()
                .and_then(|word| Chemistry::parse(word).ok()),
            life: Life {
                entry: one.entry_age_days,
                exit: one.exit_age_days,
                event: one.failed,
            },
            weight: 1.0,
        })
        .collect();
    let failed = || AnalysisError::fit("life_law");
    let fleet = fleet_law(&lives, mean_life_days).map_err(failed())?;
    let mut names = Vec::new();
    let mut laws = Vec::new();
    for chemistry in Chemistry::ALL {
        names.push(chemistry.as_str());
        laws.push(chemistry_law(&lives, *chemistry, &fleet, mean_life_days).map_err(failed())?);
    }
    names.push("not known");
    laws.push(fleet);
    rows_of(vec![
        ("chemistry", words(names.into_iter())),
        ("shape", numbers(laws.iter().map(|one| one.law.shape))),
        ("scale_days", numbers(laws.iter().map(|one| one.law.scale))),
        (
            "failures",
            counts(laws.iter().map(|one| one.failures as i64)),
        ),
    ])
}
