//! The table battery_plan: what to do about each battery in the coming weeks, and what that is worth.
//!
//! Gathers what the plan rests on (chances, season, the vehicles' next services, prices, what a test
//! tells) and gives each depot's batteries to `risk::visits`.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{BooleanArray, Float64Array, Int64Array, ListArray};
use arrow::datatypes::Float64Type;
use futures::FutureExt;
use serde::Deserialize;

use super::fits::{rows_of, stored_health, stored_model, text_column};
use super::season::seasons;
use super::week_frame::read_frame;
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::battery_prospect::{AtHand, Battery, Prospect, even_factor, prospect};
use risk::expected_health;
use risk::frame::{Number, Word};
use risk::stakes::Stakes;
use risk::stored_model::StoredModel;
use risk::test_value::TestPower;
use risk::visits::{self, Candidate, Limits, Outcome, Planned};
use risk::wear_power::WearSlopes;
use risk::weeks_ahead::{Growth, weekly_hazards};
use trade::calendar::DAYS_A_WEEK;
use trade::words::Advice;

pub const BATTERY_PLAN: Computed = Computed {
    name: "battery_plan",
    about: "One row is a battery in service: what to do about it in the coming 13 weeks, on which visit, and what a visit now is worth.",
    reads: &[
        "battery_risk",
        "vehicle_week",
        "test_history",
        "health_fit",
        "model_fit",
        "replacement_policy",
        "depot_heat",
        "next_service",
    ],
    make: |analysis| battery_plan(analysis).boxed(),
};

/// Weeks that visits are planned for, and weeks looked ahead to value what is left.
pub const WEEKS: usize = 13;
const OUTLOOK_WEEKS: usize = 52;

#[derive(Debug, Deserialize)]
struct RankedBattery {
    vin: String,
    position: String,
    depot: String,
    failed: bool,
    chance: f64,
    planned_cost: f64,
    cost_per_day: f64,
    cost_per_day_failure_half: f64,
    cost_per_day_failure_double: f64,
    due_in_days: Option<f64>,
    usual_gap_days: Option<f64>,
}

/// What is known of a battery beyond its rank: of its health, its last test.
#[derive(Debug, Clone, Copy)]
struct Known {
    health: f64,
    age_days: f64,
    /// How far a reading is spread about what is expected.
    reading_sd: f64,
    /// The power of its lost ability that its hazard grows with.
    worn: f64,
    test: TestPower,
    in_doubt: bool,
}

async fn battery_plan(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let settings = analysis.settings();
    let horizon_days = settings.run.horizon_days as f64;
    let ranked: Vec<RankedBattery> = analysis
        .rows(
            "SELECT r.vin, r.position, r.depot, r.failed_on IS NOT NULL AS failed, r.chance,
                    p.planned_cost, p.cost_per_day, p.cost_per_day_failure_half, p.cost_per_day_failure_double,
                    s.due_in_days, s.usual_gap_days
             FROM battery_risk r
             LEFT JOIN depot_heat h ON h.depot = r.depot
             JOIN replacement_policy p ON p.chemistry = COALESCE(r.chemistry, 'not known')
              AND p.heat_band = COALESCE(h.heat_band, 'not known')
             LEFT JOIN next_service s ON s.vin = r.vin
             WHERE r.chance IS NOT NULL
             ORDER BY r.depot, r.vin, r.position",
        )
        .await?;
    let model = stored_model(analysis).await?;
    let known = known(analysis, &model).await?;
    let seasons = seasons(analysis, OUTLOOK_WEEKS).await?;
    let even = vec![1.0; OUTLOOK_WEEKS];
    let stakes = |ranked: &RankedBattery, failure_times: f64, cost_per_day: f64| Stakes {
        failure_extra: settings.cost.unplanned_failure * failure_times - ranked.planned_cost,
        cost_per_day,
    };
    let battery = |ranked: &RankedBattery| {
        let known = known.get(&(ranked.vin.clone(), ranked.position.clone()));
        let growth = Growth {
            lost: known.map_or(0.0, |known| known.test.lost),
            age_days: known.map_or(0.0, |known| known.age_days),
            slope: known.map_or(0.0, |known| known.worn),
            alike: model.alike.hazard,
        };
        let season = seasons.factors(&ranked.depot, growth.lost, &model);
        let season = season.as_ref().unwrap_or(&even);
        Battery {
            hazards: weekly_hazards(ranked.chance, horizon_days, growth, season),
            stakes: stakes(ranked, 1.0, ranked.cost_per_day),
            services: services(ranked),
            chance: ranked.chance,
            power: known.map_or(TestPower::NONE, |known| known.test),
            test_cost: settings.cost.battery_test,
            in_doubt: known.is_none_or(|known| known.in_doubt),
        }
    };
    let batteries: Vec<Battery> = ranked.iter().map(battery).collect();
    let mut outcomes: Vec<(Outcome, usize)> = Vec::with_capacity(ranked.len());
    let mut first_visit = 1;
    let mut start = 0;
    for of_depot in ranked.chunk_by(|a, b| a.depot == b.depot) {
        let candidates: Vec<Candidate<'_>> = of_depot
            .iter()
            .zip(&batteries[start..])
            .map(|(ranked, battery)| Candidate {
                vehicle: &ranked.vin,
                failed: ranked.failed,
                planned_cost: ranked.planned_cost,
                prospect: match ranked.failed {
                    true => Prospect::none(),
                    false => prospect(battery, WEEKS),
                },
            })
            .collect();
        start += of_depot.len();
        let week = settings.plan.week_limits(&of_depot[0].depot);
        let limits = Limits {
            bays: week.bays,
            budget: week.budget,
            tests: week.tests,
            special_visit: settings.cost.special_visit(),
            least_saving: settings.plan.least_saving,
        };
        let of_depot = visits::plan(&candidates, limits, WEEKS);
        let visits = of_depot.iter().filter_map(|outcome| outcome.planned);
        let made = visits.map(|planned| planned.visit + 1).max().unwrap_or(0);
        outcomes.extend(of_depot.into_iter().map(|outcome| (outcome, first_visit)));
        first_visit += made;
    }
    let saving_if = |times: f64, cost_per_day: fn(&RankedBattery) -> f64| -> Float64Array {
        let each = ranked.iter().zip(&batteries);
        each.map(|(ranked, battery)| {
            let battery = Battery {
                stakes: stakes(ranked, times, cost_per_day(ranked)),
                ..battery.clone()
            };
            let prospect = prospect(&battery, 1);
            let gain = prospect.gains.first().filter(|_| !ranked.failed)?;
            Some(gain - settings.cost.special_visit())
        })
        .collect()
    };
    let planned = |value: &dyn Fn(Planned, usize) -> Option<i64>| -> Int64Array {
        outcomes
            .iter()
            .map(|(outcome, first)| outcome.planned.and_then(|planned| value(planned, *first)))
            .collect()
    };
    let keep_at: Float64Array = ranked
        .iter()
        .zip(&batteries)
        .zip(&outcomes)
        .map(|((ranked, battery), (outcome, _))| {
            let planned = outcome.planned.filter(|p| p.act.what == AtHand::Test)?;
            let known = known.get(&(ranked.vin.clone(), ranked.position.clone()))?;
            Some(keep_at(battery, planned.week, known))
        })
        .collect();
    rows_of(vec![
        (
            "vin",
            text_column(ranked.iter().map(|ranked| ranked.vin.as_str())),
        ),
        (
            "position",
            text_column(ranked.iter().map(|ranked| ranked.position.as_str())),
        ),
        (
            "advice",
            text_column(outcomes.iter().map(|(outcome, _)| advice(outcome).as_str())),
        ),
        ("week", Arc::new(planned(&|p, _| Some(p.week as i64 + 1)))),
        (
            "visit_no",
            Arc::new(planned(&|p, first| Some((p.visit + first) as i64))),
        ),
        (
            "special_visit",
            Arc::new(
                outcomes
                    .iter()
                    .map(|(outcome, _)| Some(outcome.planned?.special))
                    .collect::<BooleanArray>(),
            ),
        ),
        (
            "service_week",
            Arc::new(
                ranked
                    .iter()
                    .map(|ranked| services(ranked).first().map(|week| *week as i64 + 1))
                    .collect::<Int64Array>(),
            ),
        ),
        (
            "waits",
            Arc::new(
                outcomes
                    .iter()
                    .map(|(outcome, _)| Some(outcome.waits))
                    .collect::<BooleanArray>(),
            ),
        ),
        (
            "saving",
            Arc::new(
                outcomes
                    .iter()
                    .map(|(o, _)| o.saving)
                    .collect::<Float64Array>(),
            ),
        ),
        (
            "saving_failure_half",
            Arc::new(saving_if(0.5, |ranked| ranked.cost_per_day_failure_half)),
        ),
        (
            "saving_failure_double",
            Arc::new(saving_if(2.0, |ranked| ranked.cost_per_day_failure_double)),
        ),
        (
            "pays_from",
            Arc::new(
                batteries
                    .iter()
                    .map(|battery| battery.stakes.pays_from(horizon_days))
                    .collect::<Float64Array>(),
            ),
        ),
        ("keep_at", Arc::new(keep_at)),
        (
            "replace_share",
            Arc::new(
                outcomes
                    .iter()
                    .map(|(outcome, _)| outcome.planned.map(|planned| planned.act.replaced))
                    .collect::<Float64Array>(),
            ),
        ),
        (
            "in_doubt",
            Arc::new(
                batteries
                    .iter()
                    .map(|b| Some(b.in_doubt))
                    .collect::<BooleanArray>(),
            ),
        ),
        (
            "fails_in_week",
            Arc::new(fails_in_week(&ranked, &batteries)),
        ),
    ])
}

/// Weeks of the services that are expected, 0 this week.
fn services(ranked: &RankedBattery) -> Vec<usize> {
    let Some(due) = ranked.due_in_days.filter(|due| *due >= 0.0) else {
        return Vec::new();
    };
    let gap = ranked
        .usual_gap_days
        .unwrap_or(f64::INFINITY)
        .max(DAYS_A_WEEK);
    (0..)
        .map(|nth| due + f64::from(nth) * gap)
        .take_while(|days| *days < OUTLOOK_WEEKS as f64 * DAYS_A_WEEK)
        .map(|days| (days / DAYS_A_WEEK) as usize)
        .collect()
}

fn advice(outcome: &Outcome) -> Advice {
    match outcome.planned {
        None => Advice::Leave,
        Some(planned) => match (planned.special, planned.act.what) {
            (_, AtHand::Leave) => Advice::Leave,
            (true, AtHand::Replace) => Advice::ReplaceOnSpecialVisit,
            (true, AtHand::Test) => Advice::TestOnArrival,
            (false, AtHand::Replace) => Advice::ReplaceAtService,
            (false, AtHand::Test) => Advice::TestAtService,
        },
    }
}

/// The reading, as a share of the rating, from which the battery is kept.
fn keep_at(battery: &Battery, week: usize, known: &Known) -> f64 {
    let (_, scale) = battery.power.factors(battery.chance);
    let even = even_factor(battery, week) / scale;
    let (mut low, mut high) = (-4.0, 4.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        match battery.power.factor(middle) > even {
            true => high = middle,
            false => low = middle,
        }
    }
    (known.health - known.reading_sd * 0.5 * (low + high)).clamp(0.0, 1.0)
}

/// For each week of the plan, the chance of failing in it if nothing is done.
fn fails_in_week(ranked: &[RankedBattery], batteries: &[Battery]) -> ListArray {
    ListArray::from_iter_primitive::<Float64Type, _, _>(ranked.iter().zip(batteries).map(
        |(ranked, battery)| {
            let mut surviving = if ranked.failed { 0.0 } else { 1.0 };
            let weeks = battery.hazards.iter().take(WEEKS).map(|hazard| {
                let fails = surviving * -(-hazard).exp_m1();
                surviving -= fails;
                Some(fails)
            });
            Some(weeks.collect::<Vec<_>>())
        },
    ))
}

async fn known(
    analysis: &Analysis,
    model: &StoredModel,
) -> Result<HashMap<(String, String), Known>, AnalysisError> {
    let settings = analysis.settings();
    let frame = read_frame(analysis).await?;
    let slopes = stored_health(analysis).await?;
    let horizon_days = settings.run.horizon_days as f64;
    let expected = expected_health::predict(&frame, &slopes, horizon_days);
    let wear_slopes = WearSlopes::of(model);
    let stale_days = settings.test.test_stale_days as f64;
    Ok(frame
        .current()
        .into_iter()
        .map(|row| {
            let power = wear_slopes.power(&frame, row);
            let found_bad = matches!(frame.word(Word::Verdict, row), Some("worn" | "failed"));
            let fresh = frame.number(Number::DaysSinceHealth, row) <= stale_days;
            let word = |name| frame.word(name, row).unwrap_or_default().to_owned();
            let known = Known {
                health: expected.health(row),
                age_days: frame.number(Number::AgeDays, row),
                reading_sd: expected.reading_sd(row),
                worn: power.worn,
                test: TestPower::of(&expected, row, power.tested),
                in_doubt: !(found_bad && fresh),
            };
            ((word(Word::Vin), word(Word::Position)), known)
        })
        .collect())
}
