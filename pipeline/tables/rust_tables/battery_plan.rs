//! The table battery_plan: what to do about each battery in the coming weeks, and what that is worth.
//!
//! Gathers what the plan rests on (chances, season, the vehicles' next services, prices, what a test
//! tells); each depot has a plan of its own.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{BooleanArray, Float64Array, Int64Array, ListArray};
use arrow::datatypes::Float64Type;
use futures::FutureExt;

use super::depot_plan::{Ground, Known, OUTLOOK_WEEKS, PlacedBattery, RankedBattery, services};
use super::fits::{rows_of, stored_health, stored_model, text_column};
use super::season::seasons;
use super::week_frame::read_frame;
use super::{Computed, Rows, apart};
use crate::{Analysis, AnalysisError};
use risk::battery_prospect::AtHand;
use risk::expected_health;
use risk::frame::{Number, Word};
use risk::stored_model::StoredModel;
use risk::test_value::TestPower;
use risk::together::together;
use risk::visits::{Outcome, Planned};
use risk::wear_power::WearSlopes;
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

async fn battery_plan(analysis: &Analysis) -> Result<Rows, AnalysisError> {
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
    let ground = Ground {
        settings: analysis.settings().clone(),
        known: known(analysis, &model).await?,
        seasons: seasons(analysis, OUTLOOK_WEEKS).await?,
        model,
    };
    apart(move || {
        let depots: Vec<&[RankedBattery]> = ranked.chunk_by(|a, b| a.depot == b.depot).collect();
        let plans = together(&depots, |depot| ground.plan(depot));
        columns(&ranked, plans)
    })
    .await
}

/// The plans' columns; visits are numbered through all depots.
fn columns(
    ranked: &[RankedBattery],
    plans: Vec<Vec<PlacedBattery>>,
) -> Result<Rows, AnalysisError> {
    let mut placed: Vec<(PlacedBattery, usize)> = Vec::with_capacity(ranked.len());
    let mut first_visit = 1;
    for plan in plans {
        let visits = plan.iter().filter_map(|one| one.outcome.planned);
        let made = visits.map(|planned| planned.visit + 1).max().unwrap_or(0);
        placed.extend(plan.into_iter().map(|one| (one, first_visit)));
        first_visit += made;
    }
    let outcomes = || placed.iter().map(|(one, _)| one.outcome);
    let numbers = |value: fn(&PlacedBattery) -> Option<f64>| {
        let values = placed.iter().map(|(one, _)| value(one));
        Arc::new(values.collect::<Float64Array>())
    };
    let planned = |value: &dyn Fn(Planned, usize) -> i64| {
        let values = placed
            .iter()
            .map(|(one, first)| Some(value(one.outcome.planned?, *first)));
        Arc::new(values.collect::<Int64Array>())
    };
    let special = outcomes().map(|outcome| Some(outcome.planned?.special));
    let service_week = ranked
        .iter()
        .map(|ranked| services(ranked).first().map(|week| *week as i64 + 1));
    let waits = outcomes().map(|outcome| Some(outcome.waits));
    let in_doubt = placed.iter().map(|(one, _)| Some(one.in_doubt));
    let fails_in_week = placed.iter().map(|(one, _)| {
        Some(
            one.fails_in_week
                .iter()
                .copied()
                .map(Some)
                .collect::<Vec<_>>(),
        )
    });
    rows_of(vec![
        (
            "vin",
            text_column(ranked.iter().map(|one| one.vin.as_str())),
        ),
        (
            "position",
            text_column(ranked.iter().map(|one| one.position.as_str())),
        ),
        (
            "advice",
            text_column(outcomes().map(|outcome| advice(&outcome).as_str())),
        ),
        ("week", planned(&|p, _| p.week as i64 + 1)),
        ("visit_no", planned(&|p, first| (p.visit + first) as i64)),
        ("special_visit", Arc::new(special.collect::<BooleanArray>())),
        (
            "service_week",
            Arc::new(service_week.collect::<Int64Array>()),
        ),
        ("waits", Arc::new(waits.collect::<BooleanArray>())),
        ("saving", numbers(|one| one.outcome.saving)),
        (
            "saving_failure_half",
            numbers(|one| one.saving_failure_half),
        ),
        (
            "saving_failure_double",
            numbers(|one| one.saving_failure_double),
        ),
        ("pays_from", numbers(|one| one.pays_from)),
        ("keep_at", numbers(|one| one.keep_at)),
        (
            "replace_share",
            numbers(|one| Some(one.outcome.planned?.act.replaced)),
        ),
        ("in_doubt", Arc::new(in_doubt.collect::<BooleanArray>())),
        (
            "fails_in_week",
            Arc::new(ListArray::from_iter_primitive::<Float64Type, _, _>(
                fails_in_week,
            )),
        ),
    ])
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
