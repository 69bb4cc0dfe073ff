//! Invented fleets with known truth: the demo, and the yardstick for the model.
//!
//! [`write_dumps`] simulates a fleet week by week from each vehicle's first day (`life`), by a stated
//! physical model of the battery (`wear`, under the weather of `weather`), lets shops with their own
//! habits work on it (`shops`, `workshop`, `repairs`), floods it with codes by six causes (`floods`,
//! `memory`), and writes what each shop would export (`dialects`, `dumps`), a little of it spoilt
//! (`dirt`). The truth goes into one file of its own (`truth`).
//!
//! That is the world `smooth`. Others live by other laws (`worlds`), records can be kept with habits of
//! real ones (`habits`), and [`World`] lives any of them week by week under decisions from outside.
//!
//! Makes, models, places and people are invented. The same scenario writes the same bytes: every
//! vehicle draws from a stream of its own (`streams`). Reading the dumps is left to `intake`.
//! Fails where a knob makes no sense or a file cannot be written.

mod desk;
mod dialects;
mod dirt;
mod dumps;
mod events;
mod facts;
mod fitting;
mod fleet;
mod floods;
mod habits;
mod life;
mod memory;
mod models;
mod modules;
mod orders;
mod other_trouble;
mod planned_work;
mod readings;
mod record;
mod recovery;
mod repairs;
mod scanning;
mod scenario;
mod shops;
mod streams;
mod surroundings;
mod truth;
mod truth_of_worlds;
mod wear;
mod weather;
mod workshop;
mod world;
mod worlds;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::sync::Arc;

use dumps::{Dumps, weather_streams};
pub use events::{BatteryEvent, What};
pub use habits::Habit;
pub use orders::{Orders, Place, Task};
pub use scenario::{Scenario, SyntheticError};
use surroundings::Surroundings;
use truth::TruthFile;
use world::Member;
pub use world::{OnPaper, Week, World};
pub use worlds::{Climate, WorldName};

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

/// Writes the dumps of an invented fleet into `out`, with the mappings that read them, and with
/// `truth` also `truth.csv`. `progress` is told vehicles done and vehicles in all.
///
/// It is the world of [`world::World`] left to its own shops; as vehicles do not know of each other,
/// they are lived one after the other, so that memory does not grow with the fleet.
pub fn write_dumps(
    scenario: &Scenario,
    out: &Path,
    truth: bool,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Summary, SyntheticError> {
    scenario.check()?;
    let around = Arc::new(Surroundings::build(scenario));
    let mut summary = Summary {
        vehicles: scenario.vehicles as u64,
        ..Summary::default()
    };
    let mut dumps = Dumps::into_folder(out, &around)?;
    dumps.mappings(&mut summary)?;
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
        Some(TruthFile::start(BufWriter::new(file), &around).map_err(truth_failed)?)
    } else {
        None
    };

    let days = around.window_start..around.last_day + 1;
    let mut weather_dirt = weather_streams(scenario.seed);
    dumps.weather(&mut weather_dirt, &around.weather, days, &mut summary)?;
    for index in 0..summary.vehicles {
        let mut member = Member::start(&around, index);
        for week in 0..around.weeks() {
            member.step(week, &mut dumps, &mut summary)?;
        }
        member.life.finish();
        member.export(around.last_day, &mut dumps, &mut summary)?;
        let life = &member.life;
        summary.battery_weeks += life.battery_weeks;
        summary.failures += life.failures;
        let from = i64::from(around.window_start.max(life.vehicle.entry_day())) * 1440;
        for flood in life.floods.iter().filter(|flood| flood.at >= from) {
            *summary.floods.entry(flood.cause.as_str()).or_default() += 1;
        }
        if let Some(file) = truth_file.as_mut() {
            file.vehicle(life, &member.desk.notes)
                .map_err(truth_failed)?;
        }
        progress(index + 1, summary.vehicles);
    }
    let cuts = dumps.finish()?;
    if let Some(mut file) = truth_file {
        file.cuts(&cuts).map_err(truth_failed)?;
        file.finish().map_err(truth_unwritten)?;
    }
    Ok(summary)
}
