//! What all vehicles of a world share: its weather, models, days of export and options.
//!
//! Nothing here fails; what a vehicle makes of it is left to `life`.

use std::sync::{Arc, OnceLock};

use super::habits::{self, Habit};
use super::models::{self, Model};
use super::scenario::Scenario;
use super::weather::{DEPOTS, HISTORY_WEEKS, Weather};
use super::worlds::{Batch, Instrument, Law, Outlook, batches, instruments};

/// Days between two exports of the register.
const REGISTER_DAYS: i32 = 91;

/// What all vehicles share.
pub struct Surroundings {
    pub scenario: Scenario,
    pub weather: Weather,
    pub models: Vec<Arc<Model>>,
    /// Days since the weather's first.
    pub window_start: i32,
    pub last_day: i32,
    pub truth_from_week: usize,
    pub register_days: Vec<i32>,
    /// A shop whose charger does harm, from one day to before another.
    pub bad_charger: (usize, i32, i32),
    /// `None` in the smooth world.
    pub law: Option<&'static Law>,
    pub batches: Vec<Batch>,
    pub instruments: Vec<Instrument>,
    /// The weather that may come, by week and depot, drawn when first asked for.
    outlooks: Vec<OnceLock<Outlook>>,
}

impl Surroundings {
    pub fn build(scenario: &Scenario) -> Surroundings {
        let weeks = HISTORY_WEEKS + scenario.weeks;
        let weather = Weather::simulate(scenario.seed, scenario.last_day, weeks, scenario.climate);
        let law = scenario.world.law();
        let window_start = HISTORY_WEEKS as i32 * 7;
        let last_day = weeks as i32 * 7 - 1;
        let mut register_days: Vec<i32> = (window_start..last_day)
            .step_by(REGISTER_DAYS as usize)
            .collect();
        register_days.push(last_day);
        if scenario.habits.contains(&Habit::LateJoiners) {
            register_days = habits::register_days(register_days, last_day);
        }
        let bad_from = window_start + (last_day - window_start) * 3 / 5;
        Surroundings {
            models: models::models(scenario.seed, &weather, window_start)
                .into_iter()
                .map(Arc::new)
                .collect(),
            scenario: scenario.clone(),
            weather,
            window_start,
            last_day,
            truth_from_week: weeks - scenario.truth_weeks.min(scenario.weeks),
            register_days,
            bad_charger: (2, bad_from, bad_from + 21),
            batches: match law {
                Some(law) if law.bad_batch.is_some() => {
                    batches(scenario.seed, window_start, last_day)
                }
                _ => Vec::new(),
            },
            instruments: law.map_or_else(Vec::new, |law| {
                instruments(scenario.seed, law.instruments, window_start, last_day)
            }),
            law,
            outlooks: (0..weeks * DEPOTS.len()).map(|_| OnceLock::new()).collect(),
        }
    }

    /// The weather that may come to a depot after a week.
    pub fn outlook(&self, depot: usize, week: usize) -> &Outlook {
        self.outlooks[week * DEPOTS.len() + depot].get_or_init(|| {
            let (seed, weeks) = (self.scenario.seed, self.scenario.horizon_weeks);
            let futures = self.scenario.futures;
            Outlook::draw(seed, &self.weather, depot, week, futures, weeks)
        })
    }

    /// Weeks from the first of the history to the last.
    pub fn weeks(&self) -> usize {
        self.weather.weeks
    }
}
