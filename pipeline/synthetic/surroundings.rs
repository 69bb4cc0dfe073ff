//! What all vehicles of a world share: its weather, models, days of export and options.
//!
//! Nothing here fails; what a vehicle makes of it is left to `life`.

use std::sync::Arc;

use super::models::{self, Model};
use super::scenario::Scenario;
use super::weather::{HISTORY_WEEKS, Weather};

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
}

impl Surroundings {
    pub fn build(scenario: &Scenario) -> Surroundings {
        let weeks = HISTORY_WEEKS + scenario.weeks;
        let weather = Weather::simulate(scenario.seed, scenario.last_day, weeks);
        let window_start = HISTORY_WEEKS as i32 * 7;
        let last_day = weeks as i32 * 7 - 1;
        let mut register_days: Vec<i32> = (window_start..last_day)
            .step_by(REGISTER_DAYS as usize)
            .collect();
        register_days.push(last_day);
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
        }
    }

    /// Weeks from the first of the history to the last.
    pub fn weeks(&self) -> usize {
        self.weather.weeks
    }
}
