//! The model held against what came: it is fitted on many past days, each time with nothing but what
//! was known on that day, and its chances are compared with the failures that followed.
//!
//! At each origin the whole analysis is made anew as of that day, so no query and no fit can see
//! later; the outcomes are those known today. The rivals get the same batteries on the same days: age
//! alone, with a chance fitted on the same past; and the last test against its threshold. Where
//! cross-validation chooses the penalty it does so at the first origin, and the later ones keep it.
//! Fails as an analysis does; scoring is left to `scores`.

use std::collections::HashMap;
use std::path::Path;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::rust_tables::week_frame::read_frame;
use super::{Analysis, AnalysisError};
use lake::Lake;
use risk::cold::Outlook;
use risk::features::of_hazard;
use risk::frame::{Frame, Number, Word};
use risk::model::{self, Wanted};
use risk::prediction::Prediction;
use risk::scaled;
use risk::scores::{OriginScore, Scores, score_all, score_origin};
use settings::Settings;
use statistics::regression::design::Design;

/// What is asked of a backtest.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    pub origins: u64,
    /// Weeks from one origin to the next.
    pub every_weeks: u64,
    /// Whether each past day knows only what had been loaded by then.
    pub as_loaded: bool,
}

/// A backtest's answer.
#[derive(Debug, Serialize)]
pub struct Backtest {
    pub as_of: NaiveDate,
    pub horizon_days: i64,
    pub every_weeks: u64,
    /// Batteries that can be replaced in one week, all depots together.
    pub capacity: usize,
    pub ridge: f64,
    pub origins: Vec<OriginScore>,
    pub model: Scores,
    pub age_only: Scores,
    pub last_test: Scores,
    #[serde(skip)]
    pub predictions: Vec<Prediction>,
}

#[derive(Debug, Deserialize)]
struct Life {
    vin: String,
    position: String,
    from_day: i64,
    to_day: i64,
    failed: bool,
}

#[derive(Debug, Deserialize)]
struct Predicted {
    vin: String,
    position: String,
    chance: f64,
    chance_lower: f64,
    chance_upper: f64,
}

/// Runs the backtest; `today` is the lake as it is known now. `progress` is told origins done and
/// origins in all.
pub async fn run(
    lake: &Lake,
    today: &Analysis,
    queries: Option<&Path>,
    asked: Asked,
    progress: &mut (dyn FnMut(u64, u64) + Send),
) -> Result<Backtest, AnalysisError> {
    let mut settings = today.settings().clone();
    let horizon_days = settings.run.horizon_days;
    let lives = lives(today).await?;
    let mut predictions = Vec::new();
    let mut origins = Vec::new();
    let mut capacity = 0;
    for step in (0..asked.origins).rev() {
        let back = horizon_days.unsigned_abs() + 7 * asked.every_weeks * step;
        let Some(day) = today.as_of().checked_sub_days(Days::new(back)) else {
            continue;
        };
        let (told, ridge, bays) =
            predict(lake, today, day, &settings, queries, &lives, &asked).await?;
        // The first penalty that rests on failures enough is kept.
        settings.risk.ridge = settings.risk.ridge.or(ridge);
        capacity = capacity.max(bays);
        if let Some(score) = score_origin(day, &told, horizon_days as f64, bays) {
            origins.push(score);
            predictions.extend(told);
        }
        progress(asked.origins - step, asked.origins);
    }
    let overlap = horizon_days as f64 / (7 * asked.every_weeks.max(1)) as f64;
    let scored = |name: &str, value: fn(&Prediction) -> f64, is_chance: bool| {
        score_all(
            name,
            &predictions,
            value,
            is_chance,
            horizon_days as f64,
            capacity,
            overlap.max(1.0).sqrt(),
        )
    };
    Ok(Backtest {
        as_of: today.as_of(),
        horizon_days,
        every_weeks: asked.every_weeks,
        capacity,
        ridge: settings.risk.ridge.unwrap_or(f64::NAN),
        model: scored("model", |one| one.chance, true),
        age_only: scored("age only", |one| one.by_age, true),
        last_test: scored("last test", |one| one.test_score, false),
        origins,
        predictions,
    })
}

/// Every battery's life as known today, by vehicle and place.
async fn lives(today: &Analysis) -> Result<HashMap<(String, String), Vec<Life>>, AnalysisError> {
    let lives: Vec<Life> = today
        .rows(
            "SELECT vin, position, days_between(DATE '1970-01-01', installed_on) AS from_day,
                    days_between(DATE '1970-01-01', exited_on) AS to_day, failed
             FROM battery_life ORDER BY vin, position, battery_no",
        )
        .await?;
    let mut by_place: HashMap<(String, String), Vec<Life>> = HashMap::new();
    for life in lives {
        let place = (life.vin.clone(), life.position.clone());
        by_place.entry(place).or_default().push(life);
    }
    Ok(by_place)
}

/// What would have been told on a day, with what came of it.
async fn predict(
    lake: &Lake,
    today: &Analysis,
    day: NaiveDate,
    settings: &Settings,
    queries: Option<&Path>,
    lives: &HashMap<(String, String), Vec<Life>>,
    asked: &Asked,
) -> Result<(Vec<Prediction>, Option<f64>, usize), AnalysisError> {
    let then = Analysis::new(
        lake,
        &[],
        Some(day),
        asked.as_loaded.then_some(day),
        day,
        settings.clone(),
        queries,
    )
    .await?
    .made_where(today)?;
    let horizon_days = settings.run.horizon_days;
    let told: Vec<Predicted> = then
        .rows(
            "SELECT vin, position, chance, chance_lower, chance_upper FROM battery_chance
             ORDER BY vin, position",
        )
        .await?;
    let frame = read_frame(&then).await?;
    let rivals = Rivals::new(&frame, settings)?;
    let mut predictions = Vec::with_capacity(told.len());
    let origin_day = i64::from(chrono::Datelike::num_days_from_ce(&day)) - DAYS_BEFORE_1970;
    for (told, (by_age, test_score)) in told.into_iter().zip(rivals.scores) {
        let place = (told.vin.clone(), told.position.clone());
        let life = lives
            .get(&place)
            .into_iter()
            .flatten()
            .find(|life| life.from_day <= origin_day && life.to_day > origin_day);
        let Some(life) = life else { continue };
        let seen = life.to_day - origin_day;
        predictions.push(Prediction {
            origin: day,
            vin: told.vin,
            position: told.position,
            chance: told.chance,
            chance_lower: told.chance_lower,
            chance_upper: told.chance_upper,
            by_age,
            test_score,
            days: seen.min(horizon_days) as f64,
            failed: life.failed && seen <= horizon_days,
        });
    }
    Ok((
        predictions,
        ridge_of(&then, settings).await?,
        bays(&then).await?,
    ))
}

const DAYS_BEFORE_1970: i64 = 719_163;

/// The penalty that cross-validation chose, none where there were too few failures for it.
async fn ridge_of(then: &Analysis, settings: &Settings) -> Result<Option<f64>, AnalysisError> {
    #[derive(Deserialize)]
    struct Summary {
        ridge: f64,
        failures: i64,
    }
    let summary: Vec<Summary> = then
        .rows("SELECT ridge, failures FROM model_summary")
        .await?;
    let chosen = summary
        .first()
        .filter(|summary| summary.failures >= settings.risk.prior_failures);
    Ok(chosen.map(|summary| summary.ridge))
}

/// Batteries that the depots can replace in a week.
async fn bays(then: &Analysis) -> Result<usize, AnalysisError> {
    #[derive(Deserialize)]
    struct Depot {
        depot: String,
    }
    let depots: Vec<Depot> = then
        .rows("SELECT DISTINCT depot FROM battery_life WHERE in_service ORDER BY depot")
        .await?;
    let plan = &then.settings().plan;
    let bays = depots.iter().map(|one| plan.limits(&one.depot).0);
    Ok(bays.sum())
}

/// The plain rivals' scores of the rows to be foretold, in the order of the frame.
struct Rivals {
    scores: Vec<(f64, f64)>,
}

impl Rivals {
    fn new(frame: &Frame, settings: &Settings) -> Result<Self, AnalysisError> {
        let horizon_days = settings.run.horizon_days as f64;
        let rows = frame.current();
        let by_age_alone: Vec<_> =
            of_hazard(frame, &vec![0.0; frame.rows], Outlook::Came, horizon_days)
                .into_iter()
                .filter(|feature| feature.name == "log age")
                .collect();
        let wanted = Wanted {
            horizon_days,
            ridge: Some(1.0),
            prior_failures: 0,
        };
        let fitted = model::fit(frame, &by_age_alone, wanted);
        let cells = scaled::design(&by_age_alone, &fitted.scaling, &rows);
        let lost = |row: usize| 1.0 - frame.number(Number::Health, row);
        let known: Vec<f64> = rows
            .iter()
            .map(|row| lost(*row))
            .filter(|lost| lost.is_finite())
            .collect();
        let average = known.iter().sum::<f64>() / (known.len() as f64).max(1.0);
        let mut scores = Vec::with_capacity(rows.len());
        for (place, &row) in rows.iter().enumerate() {
            let values = &cells[place..=place];
            let chance = fitted
                .fit
                .chance(Design { columns: 1, values }, Some(&[0.0]), 0.95)
                .map_err(|error| AnalysisError::fit("age")(error.into()))?;
            let lost = lost(row);
            let bad = matches!(frame.word(Word::Verdict, row), Some("worn" | "failed"))
                || lost > 1.0 - settings.test.worn_below;
            let by_test = if lost.is_finite() { lost } else { average };
            scores.push((chance.chance, by_test + if bad { 1.0 } else { 0.0 }));
        }
        Ok(Self { scores })
    }
}
