//! Invented fleets with known truth: the demo, and the yardstick for the model.
//!
//! [`write_dumps`] simulates a fleet week by week from each vehicle's first day (`life`), by a stated
//! physical model of the battery (`wear`, under the weather of `weather`), lets shops with their own
//! habits work on it (`shops`, `workshop`, `repairs`), floods it with codes by six causes (`floods`,
//! `memory`), and writes what each shop would export (`dialects`, `dumps`), a little of it spoilt
//! (`dirt`). The truth goes into one file of its own (`truth`).
//!
//! Makes, models, places and people are invented. The same scenario writes the same bytes: every
//! vehicle draws from a stream of its own (`streams`). Reading the dumps is left to `intake`.
//! Fails where a knob makes no sense or a file cannot be written.

mod dialects;
mod dirt;
mod dumps;
mod facts;
mod fleet;
mod floods;
mod life;
mod memory;
mod models;
mod modules;
mod other_trouble;
mod readings;
mod record;
mod recovery;
mod repairs;
mod scanning;
mod shops;
mod streams;
mod truth;
mod wear;
mod weather;
mod workshop;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use thiserror::Error;

use dumps::Dumps;
use fleet::Vehicle;
use life::Life;
use models::Model;
use truth::TruthFile;
use weather::{HISTORY_WEEKS, Weather};

/// Days between two exports of the register.
const REGISTER_DAYS: i32 = 91;

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
    /// Weeks ahead for the truth's chance of failing.
    pub horizon_weeks: usize,
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
            horizon_weeks: 8,
        }
    }

    fn check(&self) -> Result<(), SyntheticError> {
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
        range("horizon_weeks", self.horizon_weeks as f64, 1.0, 104.0)?;
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

/// What was written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Summary {
    pub vehicles: u64,
    /// Rows by kind of dump, spoilt ones included.
    pub rows: BTreeMap<&'static str, u64>,
    /// Rows spoilt, by how.
    pub dirty: BTreeMap<&'static str, u64>,
    /// Batteries' weeks in service within the dumps, and failures among them.
    pub battery_weeks: u64,
    pub failures: u64,
    /// Floods by cause, seen by a scan or not.
    pub floods: BTreeMap<&'static str, u64>,
    pub files: u64,
    /// Bytes of dumps and mappings, the truth not counted.
    pub bytes: u64,
}

impl Summary {
    /// All rows.
    pub fn n_rows(&self) -> u64 {
        self.rows.values().sum()
    }

    /// All spoilt rows.
    pub fn n_dirty(&self) -> u64 {
        self.dirty.values().sum()
    }
}

/// What all vehicles share.
struct World {
    scenario: Scenario,
    weather: Weather,
    models: Vec<Model>,
    /// Days since the weather's first.
    window_start: i32,
    last_day: i32,
    truth_from_week: usize,
    register_days: Vec<i32>,
    /// A shop whose charger does harm, from one day to before another.
    bad_charger: (usize, i32, i32),
}

impl World {
    fn build(scenario: &Scenario) -> World {
        let weeks = HISTORY_WEEKS + scenario.weeks;
        let weather = Weather::simulate(scenario.seed, scenario.last_day, weeks);
        let window_start = HISTORY_WEEKS as i32 * 7;
        let last_day = weeks as i32 * 7 - 1;
        let mut register_days: Vec<i32> = (window_start..last_day)
            .step_by(REGISTER_DAYS as usize)
            .collect();
        register_days.push(last_day);
        let bad_from = window_start + (last_day - window_start) * 3 / 5;
        World {
            models: models::models(scenario.seed, &weather, window_start),
            scenario: scenario.clone(),
            weather,
            window_start,
            last_day,
            truth_from_week: weeks - scenario.truth_weeks.min(scenario.weeks),
            register_days,
            bad_charger: (2, bad_from, bad_from + 21),
        }
    }
}

/// Writes the dumps of an invented fleet into `out`, with the mappings that read them, and with
/// `truth` also `truth.csv`. `progress` is told vehicles done and vehicles in all.
pub fn write_dumps(
    scenario: &Scenario,
    out: &Path,
    truth: bool,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Summary, SyntheticError> {
    scenario.check()?;
    let world = World::build(scenario);
    let first_day = world.weather.first_day;
    let mut summary = Summary {
        vehicles: scenario.vehicles as u64,
        ..Summary::default()
    };
    let mut dumps = Dumps::start(out, first_day, &mut summary)?;
    let truth_path = out.join("truth.csv");
    let truth_failed = |source: csv::Error| SyntheticError::Csv {
        path: truth_path.clone(),
        source,
    };
    let truth_unwritten = |source: std::io::Error| SyntheticError::Write {
        path: truth_path.clone(),
        source,
    };
    let mut truth_file = if truth {
        let file = File::create(&truth_path).map_err(truth_unwritten)?;
        let mut started = TruthFile::start(BufWriter::new(file), first_day, world.window_start)
            .map_err(truth_failed)?;
        started.models(&world.models).map_err(truth_failed)?;
        Some(started)
    } else {
        None
    };

    dumps.weather(
        scenario.seed,
        &world.weather,
        world.window_start,
        &mut summary,
    )?;
    for index in 0..summary.vehicles {
        let vehicle = Vehicle::draw(scenario.seed, index, &world.weather, world.window_start);
        let life = Life::run(&world, &vehicle);
        summary.battery_weeks += life.battery_weeks;
        summary.failures += life.failures;
        let from = i64::from(world.window_start.max(vehicle.entry_day())) * 1440;
        for flood in life.floods.iter().filter(|flood| flood.at >= from) {
            *summary.floods.entry(flood.cause.as_str()).or_default() += 1;
        }
        dumps.vehicle(&life, &mut summary)?;
        if let Some(file) = truth_file.as_mut() {
            file.vehicle(&life).map_err(truth_failed)?;
        }
        progress(index + 1, summary.vehicles);
    }
    if let Some(file) = truth_file {
        file.finish().map_err(truth_unwritten)?;
    }
    dumps.finish()?;
    Ok(summary)
}
