//! life_law: the law of battery life that new life is priced by.

use std::collections::BTreeMap;

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{counts, known, numbers, rows_of, text_column};
use super::{Computed, Rows, apart};
use crate::{Analysis, AnalysisError};
use risk::life_law::{LifeLaw, WatchedLife, chemistry_law, climate_law, fleet_law};
use risk::planned_ends::{Served, Weighed, each_for_itself, weigh};
use statistics::FitError;
use statistics::limits::Limits;
use statistics::lives::life::Life;
use trade::calendar::DAYS_A_MONTH;
use trade::words::Chemistry;

pub const LIFE_LAW: Computed = Computed {
    name: "life_law",
    about: "One row is a chemistry in a band of heat: the Weibull law of its life in days, what the fleet shows, planned replacements made up for, blended with what is believed before.",
    reads: &["battery_life", "battery_condition", "depot_heat"],
    make: |analysis| life_law(analysis).boxed(),
};

const NOT_KNOWN: &str = "not known";

/// Of more lives a law says the same again: those of vehicles drawn by a hash of their VIN are about so many.
const MOST_LIVES: f64 = 500_000.0;

#[derive(Debug, Deserialize)]
struct StoredLife {
    vin: String,
    position: String,
    battery_no: i64,
    chemistry: Option<String>,
    heat_band: String,
    entry_age_days: f64,
    exit_age_days: f64,
    failed: bool,
    planned: bool,
}

#[derive(Debug, Deserialize)]
struct StoredTest {
    vin: String,
    position: String,
    battery_no: i64,
    age_days: f64,
    health: f64,
}

/// Age and share of the rating at each test of a battery.
type Tests = Vec<(f64, f64)>;

#[derive(Debug, Deserialize)]
struct Counted {
    lives: i64,
}

async fn life_law(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let mean_life_days = analysis.settings().cost.battery_life_months * DAYS_A_MONTH;
    let counted: Vec<Counted> = analysis
        .rows("SELECT COUNT(*) AS lives FROM battery_life")
        .await?;
    let lives: i64 = counted.iter().map(|counted| counted.lives).sum();
    let drawn_share = (MOST_LIVES / lives as f64).min(1.0);
    let kept: Vec<StoredLife> = analysis
        .rows(&format!(
            "SELECT l.vin, l.position, l.battery_no, l.chemistry, COALESCE(h.heat_band, 'not known') AS heat_band,
                    l.entry_age_days, l.exit_age_days, l.failed, l.outcome = 'preventive' AS planned
             FROM battery_life l LEFT JOIN depot_heat h ON h.depot = l.depot
             WHERE l.exit_age_days > l.entry_age_days AND l.entry_age_days >= 0
               AND sample_share(l.vin) < {drawn_share}
             ORDER BY l.vin, l.position, l.battery_no"
        ))
        .await?;
    let tests: Vec<StoredTest> = analysis
        .rows(&format!(
            "SELECT vin, position, battery_no, age_days, health FROM battery_condition
             WHERE health IS NOT NULL AND verdict <> 'discharged' AND sample_share(vin) < {drawn_share}
             ORDER BY vin, position, battery_no, age_days, tested_at"
        ))
        .await?;
    apart(move || laws_of_lives(&kept, &tests, mean_life_days, drawn_share)).await
}

fn laws_of_lives(
    kept: &[StoredLife],
    tests: &[StoredTest],
    mean_life_days: f64,
    drawn_share: f64,
) -> Result<Rows, AnalysisError> {
    let mut of_battery: BTreeMap<(&str, &str, i64), Tests> = BTreeMap::new();
    for test in tests {
        of_battery
            .entry((&test.vin, &test.position, test.battery_no))
            .or_default()
            .push((test.age_days, test.health));
    }
    let served: Vec<Served> = kept
        .iter()
        .map(|one| Served {
            life: Life {
                entry: one.entry_age_days,
                exit: one.exit_age_days,
                event: one.failed,
            },
            planned: one.planned,
            tests: of_battery
                .remove(&(one.vin.as_str(), one.position.as_str(), one.battery_no))
                .unwrap_or_default(),
        })
        .collect();
    let watched = |weighed: &Weighed| {
        let pieces = weighed.pieces.iter().map(|piece| {
            let own = &kept[piece.subject];
            WatchedLife {
                chemistry: own
                    .chemistry
                    .as_deref()
                    .and_then(|word| Chemistry::parse(word).ok()),
                climate: Some(own.heat_band.as_str()).filter(|band| *band != NOT_KNOWN),
                piece: *piece,
            }
        });
        pieces.collect::<Vec<WatchedLife>>()
    };
    let weighed = weigh(&served);
    let lives = watched(&weighed);
    let laws = laws_of(&lives, mean_life_days)?;
    let as_seen = laws_of(&watched(&each_for_itself(&served)), mean_life_days)?;

    let mut bands: Vec<&str> = kept.iter().map(|one| one.heat_band.as_str()).collect();
    bands.push(NOT_KNOWN);
    bands.sort_unstable();
    bands.dedup();
    let mut rows = Vec::new();
    for band in bands {
        let climate = match band {
            NOT_KNOWN => None,
            band => Some(climate_law(&lives, band, &laws.fleet).map_err(failed())?),
        };
        for (chemistry, law, plain) in laws
            .by_chemistry
            .iter()
            .zip(&as_seen.by_chemistry)
            .map(|((chemistry, law), (_, plain))| (*chemistry, law, plain))
        {
            let lead = chemistry != Chemistry::Lithium.as_str();
            let climate = climate.as_ref().filter(|_| lead);
            let here = match climate {
                Some(climate) => law.in_climate(climate, &laws.fleet),
                None => law.clone(),
            };
            let limits = here.half_life_limits(climate);
            rows.push((chemistry, band, here, limits, plain.half_life()));
        }
    }
    let of = |number: fn(&LifeLaw) -> f64| numbers(rows.iter().map(|row| number(&row.2)));
    let end = |number: fn(&Limits) -> f64| {
        known(
            rows.iter()
                .map(|row| row.3.as_ref().map_or(f64::NAN, number)),
        )
    };
    rows_of(vec![
        ("chemistry", text_column(rows.iter().map(|row| row.0))),
        ("heat_band", text_column(rows.iter().map(|row| row.1))),
        ("shape", of(|one| one.law.shape)),
        ("scale_days", of(|one| one.law.scale)),
        ("half_life_days", of(LifeLaw::half_life)),
        ("half_life_lower_days", end(|limits| limits.lower)),
        ("half_life_upper_days", end(|limits| limits.upper)),
        (
            "half_life_as_seen_days",
            numbers(rows.iter().map(|row| row.4)),
        ),
        (
            "failures",
            counts(rows.iter().map(|row| row.2.failures as i64)),
        ),
        (
            "planned_made_up_for",
            counts(rows.iter().map(|_| weighed.planned as i64)),
        ),
        ("own_share", of(|one| one.own_share)),
        ("drawn_share", numbers(rows.iter().map(|_| drawn_share))),
    ])
}

fn failed() -> impl FnOnce(FitError) -> AnalysisError {
    AnalysisError::fit("life_law")
}

struct Laws {
    fleet: LifeLaw,
    /// Every chemistry, and last what is of none known.
    by_chemistry: Vec<(&'static str, LifeLaw)>,
}

fn laws_of(lives: &[WatchedLife], mean_life_days: f64) -> Result<Laws, AnalysisError> {
    let fleet = fleet_law(lives, mean_life_days).map_err(failed())?;
    let mut by_chemistry = Vec::new();
    for chemistry in Chemistry::ALL {
        let law = chemistry_law(lives, *chemistry, &fleet, mean_life_days).map_err(failed())?;
        by_chemistry.push((chemistry.as_str(), law));
    }
    by_chemistry.push((NOT_KNOWN, fleet.clone()));
    Ok(Laws {
        fleet,
        by_chemistry,
    })
}
