//! The model's tables: health_fit, model_fit, model_way and battery_chance.

use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int64Array, ListArray, RecordBatch, StringArray};
use arrow::datatypes::{Field, Float64Type, Schema};
use futures::FutureExt;

use super::reasons_column::reasons;
use super::week_frame::read_frame;
use super::{Computed, Rows, apart};
use crate::{Analysis, AnalysisError};
use risk::chances::{self, StoredTrend};
use risk::cold::Outlook;
use risk::drawn::Drawn;
use risk::expected_health::{self, HealthSlope};
use risk::features::of_hazard;
use risk::frame::{Frame, Number, Word};
use risk::model::MODEL_VERSION;
use risk::stored_model::{StoredCoefficient, StoredModel};
use risk::ways::{self, Pooled};
use settings::Settings;

pub const HEALTH_FIT: Computed = Computed {
    name: "health_fit",
    about: "One row is a number of what makes up the ability lost: the usual loss, own pace, corrections.",
    reads: &["vehicle_week", "test_history"],
    make: |analysis| health_fit(analysis).boxed(),
};

pub const MODEL_FIT: Computed = Computed {
    name: "model_fit",
    about: "One row is a coefficient of the hazard, of a scaled column, the intercept first.",
    reads: &["vehicle_week", "test_history", "health_fit"],
    make: |analysis| model_fit(analysis).boxed(),
};

pub const MODEL_WAY: Computed = Computed {
    name: "model_way",
    about: "One row is a way of foretelling, with the weight that trials on the last year gave it.",
    reads: &["model_fit"],
    make: |analysis| model_way(analysis).boxed(),
};

pub const BATTERY_CHANCE: Computed = Computed {
    name: "battery_chance",
    about: "One row is a battery in service with its chance of failing within the horizon, and why.",
    reads: &[
        "vehicle_week",
        "test_history",
        "health_fit",
        "model_fit",
        "condition_trend",
    ],
    make: |analysis| battery_chance(analysis).boxed(),
};

/// A table from its columns; the names are the columns' own.
pub fn rows_of(columns: Vec<(&str, ArrayRef)>) -> Result<Rows, AnalysisError> {
    let fields: Vec<Field> = columns
        .iter()
        .map(|(name, column)| Field::new(*name, column.data_type().clone(), true))
        .collect();
    let schema = Arc::new(Schema::new(fields));
    let columns = columns.into_iter().map(|(_, column)| column).collect();
    let batch = RecordBatch::try_new(Arc::clone(&schema), columns).map_err(|source| {
        AnalysisError::Rows {
            table: "computed".to_owned(),
            source: source.into(),
        }
    })?;
    Ok((schema, vec![batch]))
}

/// A column of words.
pub fn text_column<'a>(values: impl Iterator<Item = &'a str>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<StringArray>())
}

/// A column of words, some of them not there.
pub fn maybe_text_column<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

/// A column of numbers.
pub fn numbers(values: impl Iterator<Item = f64>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<Float64Array>())
}

/// A column of numbers of which some are not known.
pub fn known(values: impl Iterator<Item = f64>) -> ArrayRef {
    let values = values.map(|value| value.is_finite().then_some(value));
    Arc::new(values.collect::<Float64Array>())
}

/// A column of counts.
pub fn counts(values: impl Iterator<Item = i64>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<Int64Array>())
}

/// The slopes of the expected health as they were kept.
pub async fn stored_health(analysis: &Analysis) -> Result<Vec<HealthSlope>, AnalysisError> {
    analysis
        .rows("SELECT * FROM health_fit ORDER BY place")
        .await
}

/// The model as it was kept.
pub async fn stored_model(analysis: &Analysis) -> Result<StoredModel, AnalysisError> {
    let kept: Vec<StoredCoefficient> = analysis
        .rows(
            "SELECT feature, coefficient, mean, deviation, alike_hazard, alike_log_sd, covariances
             FROM model_fit ORDER BY place",
        )
        .await?;
    Ok(StoredModel::new(&kept))
}

/// The trends of the batteries' health.
pub async fn stored_trends(analysis: &Analysis) -> Result<Vec<StoredTrend>, AnalysisError> {
    analysis
        .rows("SELECT vin, position, battery_no, health_per_year FROM condition_trend")
        .await
}

async fn health_fit(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let frame = read_frame(analysis).await?;
    let horizon_days = analysis.settings().run.horizon_days as f64;
    let fit = apart(move || Ok(expected_health::fit(&frame, horizon_days))).await?;
    let slopes = fit.slopes;
    rows_of(vec![
        ("place", counts((0..).take(slopes.len()))),
        (
            "part",
            text_column(slopes.iter().map(|slope| slope.part.as_str())),
        ),
        (
            "feature",
            text_column(slopes.iter().map(|slope| slope.feature.as_str())),
        ),
        (
            "about",
            text_column(slopes.iter().map(|slope| slope.about.as_str())),
        ),
        (
            "coefficient",
            numbers(slopes.iter().map(|slope| slope.coefficient)),
        ),
        ("mean", numbers(slopes.iter().map(|slope| slope.mean))),
        (
            "deviation",
            numbers(slopes.iter().map(|slope| slope.deviation)),
        ),
        ("tests", counts(slopes.iter().map(|slope| slope.tests))),
        (
            "fallback",
            maybe_text_column(slopes.iter().map(|_| fit.fallback.as_deref())),
        ),
    ])
}

async fn model_fit(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let settings = analysis.settings().clone();
    let frame = read_frame(analysis).await?;
    let slopes = stored_health(analysis).await?;
    let given = settings.risk.ridge.map(Drawn::evenly);
    let fit = move || Ok(fit_hazard(&settings, &frame, &slopes, given.as_ref()));
    let (names, model) = apart(fit).await?;
    analysis.kept.keep(&model.ways, &model.drawn);
    let size = names.len() + 1;
    let errors = model.fit.standard_errors();
    let all = || std::iter::once(model.fit.intercept).chain(model.fit.coefficients.iter().copied());
    let limit = |side: f64| {
        all()
            .zip(&errors)
            .map(move |(value, se)| value + side * 1.959_963_984_540_054 * se)
    };
    let covariances = ListArray::from_iter_primitive::<Float64Type, _, _>(
        model
            .fit
            .covariance
            .chunks(size)
            .map(|row| Some(row.iter().copied().map(Some).collect::<Vec<_>>())),
    );
    let named = |which: fn(&(String, String)) -> &str, first: &'static str| {
        text_column(std::iter::once(first).chain(names.iter().map(which)))
    };
    let same = |value: f64| numbers(std::iter::repeat_n(value, size));
    rows_of(vec![
        ("place", counts((0..).take(size))),
        ("feature", named(|name| &name.0, "intercept")),
        ("about", named(|name| &name.1, "the average look")),
        ("coefficient", numbers(all())),
        ("lower", numbers(limit(-1.0))),
        ("upper", numbers(limit(1.0))),
        (
            "mean",
            numbers(std::iter::once(0.0).chain(model.scaling.iter().map(|s| s.mean))),
        ),
        (
            "deviation",
            numbers(std::iter::once(1.0).chain(model.scaling.iter().map(|s| s.deviation))),
        ),
        ("covariances", Arc::new(covariances)),
        (
            "failures",
            counts(std::iter::repeat_n(model.failures as i64, size)),
        ),
        (
            "looks",
            counts(std::iter::repeat_n(model.looks as i64, size)),
        ),
        ("person_weeks", same(model.battery_weeks)),
        ("ridge", same(model.drawn.penalty)),
        (
            "penalty_factor",
            numbers(std::iter::once(0.0).chain(model.penalty_factors.iter().copied())),
        ),
        ("prior_weight", same(model.prior_weight)),
        ("effective_df", same(model.fit.effective_df)),
        ("level_factor", same(model.level.exp())),
        ("alike_hazard", same(model.alike.hazard)),
        ("alike_log_sd", same(model.alike.log_sd)),
        ("trial_failures", same(model.trial_failures)),
        (
            "model_version",
            text_column(std::iter::repeat_n(MODEL_VERSION, size)),
        ),
        (
            "fallback",
            maybe_text_column(std::iter::repeat_n(model.fallback.as_deref(), size)),
        ),
    ])
}

/// The hazard fitted to the frame's failures, with its columns' names and meanings; how hard slopes are drawn is
/// chosen by trials unless it is given.
pub fn fit_hazard(
    settings: &Settings,
    frame: &Frame,
    slopes: &[HealthSlope],
    given: Option<&Drawn>,
) -> (Vec<(String, String)>, Pooled) {
    let horizon_days = settings.run.horizon_days as f64;
    let expected = expected_health::predict(frame, slopes, horizon_days);
    let features = of_hazard(frame, &expected.lost, Outlook::Came, horizon_days);
    let prior_failures = usize::try_from(settings.risk.prior_failures).unwrap_or(0);
    let model = ways::fit(frame, &features, horizon_days, given, prior_failures);
    let names = features
        .into_iter()
        .map(|feature| (feature.name, feature.about));
    (names.collect(), model)
}

/// The ways were weighed when the model was fitted.
async fn model_way(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let ways = analysis.kept.ways();
    rows_of(vec![
        ("way", text_column(ways.iter().map(|way| way.name))),
        ("weight", numbers(ways.iter().map(|way| way.weight))),
        ("trial_score", numbers(ways.iter().map(|way| way.score))),
    ])
}

async fn battery_chance(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let frame = read_frame(analysis).await?;
    let slopes = stored_health(analysis).await?;
    let model = stored_model(analysis).await?;
    let trends = stored_trends(analysis).await?;
    let horizon_days = analysis.settings().run.horizon_days as f64;
    let whole = Arc::clone(&frame);
    let foretell = move || chances::predict(&whole, &slopes, &model, &trends, horizon_days);
    let foretold = apart(move || {
        foretell().map_err(|error| AnalysisError::fit("battery_chance")(error.into()))
    });
    let foretold = foretold.await?;
    let word = |column: Word| {
        text_column(
            foretold
                .iter()
                .map(|one| frame.word(column, one.row).unwrap_or_default()),
        )
    };
    rows_of(vec![
        ("vin", word(Word::Vin)),
        ("position", word(Word::Position)),
        (
            "battery_no",
            counts(
                foretold
                    .iter()
                    .map(|one| frame.number(Number::BatteryNo, one.row) as i64),
            ),
        ),
        ("chance", numbers(foretold.iter().map(|one| one.chance))),
        (
            "chance_lower",
            numbers(foretold.iter().map(|one| one.lower)),
        ),
        (
            "chance_upper",
            numbers(foretold.iter().map(|one| one.upper)),
        ),
        (
            "chance_fit_lower",
            numbers(foretold.iter().map(|one| one.fit_lower)),
        ),
        (
            "chance_fit_upper",
            numbers(foretold.iter().map(|one| one.fit_upper)),
        ),
        (
            "expected_health",
            numbers(foretold.iter().map(|one| one.expected_health)),
        ),
        (
            "reasons",
            reasons(foretold.iter().map(|one| one.reasons.as_slice())),
        ),
        (
            "model_version",
            text_column(foretold.iter().map(|_| MODEL_VERSION)),
        ),
    ])
}
