//! The table test_value: what a test of each battery in service would be worth now.

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{kept_health, kept_model, numbers, rows_of, words};
use super::week_frame::read_frame;
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};
use risk::expected_health;
use risk::frame::Frame;
use risk::stakes::Stakes;
use risk::test_value::{TestPower, value_of_test};

pub const TEST_VALUE: Computed = Computed {
    name: "test_value",
    about: "One row is a battery in service: what a test of it would be worth now, and that less its cost.",
    reads: &[
        "vehicle_week",
        "health_fit",
        "model_fit",
        "battery_chance",
        "replacement_policy",
    ],
    make: |analysis| test_value(analysis).boxed(),
};

#[derive(Debug, Deserialize)]
struct Told {
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
    let slopes = kept_health(analysis).await?;
    let model = kept_model(analysis).await?;
    let told: Vec<Told> = analysis
        .rows(
            "SELECT c.vin, c.position, c.chance, p.planned_cost, p.cost_per_day
             FROM battery_chance c
             JOIN battery_life l ON l.vin = c.vin AND l.position = c.position AND l.battery_no = c.battery_no
             JOIN replacement_policy p ON p.chemistry = COALESCE(l.chemistry, 'not known')
             ORDER BY c.vin, c.position",
        )
        .await?;
    let expected = expected_health::foretell(&frame, &slopes, horizon_days);
    let (mut vins, mut positions, mut worths, mut whys) = (vec![], vec![], vec![], vec![]);
    for row in frame.current() {
        let vin = frame.word("vin", row).unwrap_or_default();
        let position = frame.word("position", row).unwrap_or_default();
        let place = told
            .partition_point(|told| (told.vin.as_str(), told.position.as_str()) < (vin, position));
        let Some(told) = told
            .get(place)
            .filter(|told| told.vin == vin && told.position == position)
        else {
            continue;
        };
        // An answer spreads by what is not known and by the noise of a test; only the first share of it
        // moves what is expected.
        let open = expected.sd(row);
        let spread = open.hypot(expected.spread.test_sd);
        let sd = open * open / spread.max(1e-9);
        let stakes = Stakes {
            failure_extra: settings.cost.unplanned_failure - told.planned_cost,
            cost_per_day: told.cost_per_day,
        };
        let power = TestPower {
            lost: expected.lost[row],
            sd,
            slope: model.lost_slope(),
        };
        let horizons = (settings.test.test_stale_days as f64 / horizon_days / 2.0).max(1.0);
        let worth = horizons * value_of_test(told.chance, power, stakes, horizon_days);
        vins.push(vin);
        positions.push(position);
        worths.push(worth);
        whys.push(why(&frame, row, expected.health(row), spread));
    }
    rows_of(vec![
        ("vin", words(vins.into_iter())),
        ("position", words(positions.into_iter())),
        (
            "value",
            numbers(
                worths
                    .iter()
                    .map(|worth| worth - settings.cost.battery_test),
            ),
        ),
        ("worth", numbers(worths.iter().copied())),
        ("why", words(whys.iter().map(String::as_str))),
    ])
}

fn why(frame: &Frame, row: usize, health: f64, spread: f64) -> String {
    let percent = |share: f64| (share * 100.0).clamp(0.0, 120.0);
    let tested = match frame.number("days_since_health", row) {
        days if days.is_nan() => "never tested".to_owned(),
        days => format!(
            "last tested when charged {:.0} months ago",
            days / DAYS_A_MONTH
        ),
    };
    format!(
        "{tested}, {:.1} years old: a test would likely show {:.0} to {:.0} % of rated cranking",
        frame.number("age_days", row) / 365.25,
        percent(health - spread),
        percent(health + spread),
    )
}

const DAYS_A_MONTH: f64 = 30.4375;
