//! What the chances would be if no doubtful failure counted: the table sure_chance.

use std::collections::HashSet;
use std::sync::Arc;

use futures::FutureExt;
use serde::Deserialize;

use super::fits::{
    counts, fit_hazard, numbers, rows_of, stored_health, stored_trends, text_column,
};
use super::week_frame::read_frame;
use super::{Computed, Rows, apart};
use crate::{Analysis, AnalysisError};
use risk::chances::{self, Predicted, StoredTrend};
use risk::drawn::Drawn;
use risk::expected_health::HealthSlope;
use risk::frame::{Frame, Number, Word};
use risk::stored_model::StoredModel;
use settings::Settings;

pub const SURE_CHANCE: Computed = Computed {
    name: "sure_chance",
    about: "One row is a battery in service with the chance it would have if no doubtful failure counted; none where no failure that the model learns from is doubtful.",
    reads: &[
        "vehicle_week",
        "test_history",
        "health_fit",
        "model_fit",
        "condition_trend",
    ],
    make: |analysis| sure_chance(analysis).boxed(),
};

/// A battery that failed doubtfully.
#[derive(Debug, PartialEq, Eq, Hash, Deserialize)]
struct Doubtful {
    vin: String,
    position: String,
    battery_no: i64,
}

impl Doubtful {
    fn at(frame: &Frame, row: usize) -> Self {
        let word = |column| frame.word(column, row).unwrap_or_default().to_owned();
        Self {
            vin: word(Word::Vin),
            position: word(Word::Position),
            battery_no: frame.number(Number::BatteryNo, row) as i64,
        }
    }
}

async fn sure_chance(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let doubtful: HashSet<Doubtful> = analysis
        .rows::<Doubtful>(
            "SELECT DISTINCT vin, position, battery_no FROM vehicle_week WHERE doubtful_then",
        )
        .await?
        .into_iter()
        .collect();
    let frame = read_frame(analysis).await?;
    let mut told = Vec::new();
    if !doubtful.is_empty() {
        let slopes = stored_health(analysis).await?;
        let trends = stored_trends(analysis).await?;
        let (settings, frame) = (analysis.settings().clone(), Arc::clone(&frame));
        let drawn = analysis.kept.drawn().cloned();
        let drawn_as = move || foretell(&frame, &doubtful, &settings, &slopes, &trends, drawn);
        told = apart(drawn_as).await?;
    }
    let word = |column| {
        text_column(
            told.iter()
                .map(|one| frame.word(column, one.row).unwrap_or_default()),
        )
    };
    rows_of(vec![
        ("vin", word(Word::Vin)),
        ("position", word(Word::Position)),
        (
            "battery_no",
            counts(
                told.iter()
                    .map(|one| frame.number(Number::BatteryNo, one.row) as i64),
            ),
        ),
        ("chance", numbers(told.iter().map(|one| one.chance))),
    ])
}

/// Slopes are drawn as hard as where all failures count: whether a few of them do would else move the chances by
/// more than those failures say.
fn foretell(
    frame: &Frame,
    doubtful: &HashSet<Doubtful>,
    settings: &Settings,
    slopes: &[HealthSlope],
    trends: &[StoredTrend],
    drawn: Option<Drawn>,
) -> Result<Vec<Predicted>, AnalysisError> {
    let sure = frame.with_failures(
        (0..frame.rows)
            .map(|row| frame.failed_then[row] && !doubtful.contains(&Doubtful::at(frame, row)))
            .collect(),
    );
    let (names, model) = fit_hazard(settings, &sure, slopes, drawn.as_ref());
    let names = names.into_iter().map(|(name, _)| name).collect();
    let model = StoredModel::unkept(names, model);
    let horizon_days = settings.run.horizon_days as f64;
    chances::predict(&sure, slopes, &model, trends, horizon_days)
        .map_err(|error| AnalysisError::fit("sure_chance")(error.into()))
}
