//! Which fleet to invent: its size, its seed, and every knob with its bounds.

use std::collections::BTreeSet;
use std::path::PathBuf;

use chrono::NaiveDate;
use thiserror::Error;

use super::habits::Habit;
use super::worlds::{Climate, WorldName};

/// What fleet to invent.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Vehicles that are in the fleet at some time; about five in six are at its end.
    pub vehicles: usize,
    /// Weeks the dumps cover.
    pub weeks: usize,
    pub seed: u64,
    /// Last day the dumps cover.
    pub last_day: NaiveDate,
    /// Factor on the number of codes in a flood.
    pub flood_size_factor: f64,
    /// Factor on the share of modules that a full scan asks.
    pub scan_breadth_factor: f64,
    /// Factor on the shops' habits, good and bad: tests, clears, checks, wrong parts.
    pub shop_habit_factor: f64,
    /// Weeks at the end for which the truth gives each battery's hazard.
    pub truth_weeks: usize,
    /// Weeks between two of them, counted back from the last.
    pub truth_every_weeks: usize,
    /// Weeks ahead for the truth's chance of failing.
    pub horizon_weeks: usize,
    /// The law its batteries obey.
    pub world: WorldName,
    pub climate: Climate,
    /// Share of vehicles the shops test at all; others only now and then after trouble.
    pub tested_share: f64,
    /// Main batteries are changed at this age at the next service; `None` leaves it to the depots.
    pub replace_at_years: Option<f64>,
    /// Batteries whose test reads below this share of their rating are replaced early, 0 for none; `None`
    /// leaves it to the shops.
    pub replace_below: Option<f64>,
    /// Standard deviation of the logarithm of the batteries' own pace; `None` leaves it to the world.
    pub pace_spread: Option<f64>,
    /// Futures lived for each true chance, in worlds whose truth is lived forward.
    pub futures: usize,
    /// Habits of real records.
    pub habits: BTreeSet<Habit>,
}

impl Scenario {
    /// A fleet with every knob at its default.
    pub fn new(vehicles: usize, weeks: usize, seed: u64) -> Scenario {
        Scenario {
            vehicles,
            weeks,
            seed,
            last_day: NaiveDate::from_ymd_opt(2026, 6, 28).unwrap_or_default(),
            flood_size_factor: 1.0,
            scan_breadth_factor: 1.0,
            shop_habit_factor: 1.0,
            truth_weeks: 60,
            truth_every_weeks: 1,
            horizon_weeks: 8,
            world: WorldName::Smooth,
            climate: Climate::Mixed,
            tested_share: 1.0,
            replace_at_years: None,
            replace_below: None,
            pace_spread: None,
            futures: 200,
            habits: BTreeSet::new(),
        }
    }

    /// Whether it is the smooth world as it always was, with plain records.
    pub(super) fn plain(&self) -> bool {
        self.world == WorldName::Smooth && self.habits.is_empty()
    }

    pub(super) fn check(&self) -> Result<(), SyntheticError> {
        let range = |knob: &'static str, value: f64, low: f64, high: f64| {
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(SyntheticError::Knob {
                    knob,
                    value,
                    low,
                    high,
                })
            }
        };
        range("vehicles", self.vehicles as f64, 1.0, 999_999.0)?;
        range("weeks", self.weeks as f64, 1.0, 1040.0)?;
        range("flood_size_factor", self.flood_size_factor, 0.1, 5.0)?;
        range("scan_breadth_factor", self.scan_breadth_factor, 0.1, 5.0)?;
        range("shop_habit_factor", self.shop_habit_factor, 0.0, 5.0)?;
        range(
            "truth_every_weeks",
            self.truth_every_weeks as f64,
            1.0,
            1040.0,
        )?;
        range("horizon_weeks", self.horizon_weeks as f64, 1.0, 104.0)?;
        range("tested_share", self.tested_share, 0.0, 1.0)?;
        range("pace_spread", self.pace_spread.unwrap_or(0.0), 0.0, 1.0)?;
        let at_years = self.replace_at_years.unwrap_or(1.0);
        range("replace_at_years", at_years, 0.5, 20.0)?;
        range("replace_below", self.replace_below.unwrap_or(0.0), 0.0, 1.0)?;
        range("futures", self.futures as f64, 1.0, 100_000.0)?;
        let year = chrono::Datelike::year(&self.last_day);
        range("the year of last_day", f64::from(year), 2016.0, 2100.0)
    }
}

/// Why a fleet could not be invented or written.
#[derive(Debug, Error)]
pub enum SyntheticError {
    #[error("{knob} is {value}: choose a value from {low} to {high}")]
    Knob {
        knob: &'static str,
        value: f64,
        low: f64,
        high: f64,
    },
    #[error(
        "cannot write {path}: {source}; choose a folder that can be written to, with room in it"
    )]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error(
        "cannot write {path}: {source}; choose a folder that can be written to, with room in it"
    )]
    Csv { path: PathBuf, source: csv::Error },
}
