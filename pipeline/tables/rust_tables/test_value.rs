//! The table test_value: what a test of each battery in service would be worth now.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{known, numbers, rows_of, stored_health, stored_model, text_column};
use super::week_frame::read_frame;
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::expected_health;
use risk::frame::{Number, Word};
use risk::stakes::Stakes;
use risk::test_value::{TestPower, value_of_test};
use risk::wear_power::WearSlopes;

pub const TEST_VALUE: Computed = Computed {
    name: "test_value",
    about: "One row is a battery in service: what a test of it would be worth now, that less its cost, and what it would likely show.",
    reads: &[
        "vehicle_week",
        "test_history",
        "health_fit",
        "model_fit",
        "battery_chance",
        "replacement_policy",
        "depot_heat",
    ],
    make: |analysis| test_value(analysis).boxed(),
};

/// The most of its rating that a battery is expected to show.
const MOST_SHOWN: f64 = 1.2;

#[derive(Debug, Deserialize)]
struct PricedBattery {
    vin: String,
    position: String,
    chance: f64,
    planned_cost: f64,
    cost_per_day: f64,
}

async fn test_value(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let settings = analysis.settings();
    let horizon_days = settings.run.horizon_days as f64;
    let frame = read_frame(analysis).await?;
    let slopes = stored_health(analysis).await?;
    let model = stored_model(analysis).await?;
    let priced: Vec<PricedBattery> = analysis
        .rows(
            "SELECT c.vin, c.position, c.chance, p.planned_cost, p.cost_per_day
             FROM battery_chance c
             JOIN battery_life l ON l.vin = c.vin AND l.position = c.position AND l.battery_no = c.battery_no
             LEFT JOIN depot_heat h ON h.depot = l.depot
             JOIN replacement_policy p ON p.chemistry = COALESCE(l.chemistry, 'not known')
              AND p.heat_band = COALESCE(h.heat_band, 'not known')
             ORDER BY c.vin, c.position",
        )
        .await?;
    let expected = expected_health::predict(&frame, &slopes, horizon_days);
    let wear_slopes = WearSlopes::of(&model);
    let (mut vins, mut positions, mut savings) = (vec![], vec![], vec![]);
    let (mut lowers, mut uppers, mut days_since_health) = (vec![], vec![], vec![]);
    for row in frame.current() {
        let vin = frame.word(Word::Vin, row).unwrap_or_default();
        let position = frame.word(Word::Position, row).unwrap_or_default();
        let place = priced.partition_point(|priced| {
            (priced.vin.as_str(), priced.position.as_str()) < (vin, position)
        });
        let Some(priced) = priced
            .get(place)
            .filter(|priced| priced.vin == vin && priced.position == position)
        else {
            continue;
        };
        let stakes = Stakes {
            failure_extra: settings.cost.unplanned_failure - priced.planned_cost,
            cost_per_day: priced.cost_per_day,
        };
        let power = TestPower::of(&expected, row, wear_slopes.power(&frame, row).tested);
        let horizons = (settings.test.test_stale_days as f64 / horizon_days / 2.0).max(1.0);
        let saving = horizons * value_of_test(priced.chance, power, stakes, horizon_days);
        vins.push(vin);
        positions.push(position);
        savings.push(saving);
        let (health, spread) = (expected.health(row), expected.reading_sd(row));
        lowers.push((health - spread).clamp(0.0, MOST_SHOWN));
        uppers.push((health + spread).clamp(0.0, MOST_SHOWN));
        days_since_health.push(frame.number(Number::DaysSinceHealth, row));
    }
    rows_of(vec![
        ("vin", text_column(vins.into_iter())),
        ("position", text_column(positions.into_iter())),
        (
            "net_saving",
            numbers(
                savings
                    .iter()
                    .map(|saving| saving - settings.cost.battery_test),
            ),
        ),
        ("saving", numbers(savings.iter().copied())),
        ("likely_lower", numbers(lowers.into_iter())),
        ("likely_upper", numbers(uppers.into_iter())),
        ("days_since_health", known(days_since_health.into_iter())),
    ])
}
