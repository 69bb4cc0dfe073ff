//! The truth behind the dumps, in one file that the product itself never reads.
//!
//! `truth.csv` is long: the column `record` says what a row is, and columns that a record does not
//! name are empty. Instants are UTC (`2025-03-04T13:20:00Z`), days are dates.
//!
//! | record | columns |
//! |---|---|
//! | `battery` | a battery whose life reached into the dumps: `vin`, `position`, `started` (day it went in), `ended` (day it came out, the vehicle left, or the last day), `what` (failed, preventive, left fleet, in service), `happened_at` (instant of the failure; the battery may have come out days or weeks later), `frailty`, `wear` (at the end), `chemistry`, `rating_value`, `depot` |
//! | `hazard` | a battery in service and not failed at the end of a week: `vin`, `position`, `ended` (the week's last day), `wear`, `hazard` (true chance of failing in that week), `chance` (true chance of failing within the scenario's `horizon_weeks` after it, from the hidden wear and the season's mean weather; planned replacement and leaving are not counted) |
//! | `flood` | `vin`, `started` (instant), `ended` (instant of the clear that ended it; empty if none did), `what` (supply, network, reprogramming, scan artefact, unexplained), `ids` (scans that showed at least 6 of its codes from 3 modules, with spaces between; empty if no scan did) |
//! | `latched` | a code that a plain clear does not end: `make`, `model`, `module`, `code`, `what` (protected: only the protected clear ends it; stubborn: a plain clear does one time in four) |
//! | `companion` | a code that only says that another module holds a fault: `make`, `model`, `module`, `code` |
//! | `recovery` | one step of a case: `vin`, `case` (1, 2, ... in the vehicle), `what` (opened, supply tested, supply restored, codes saved, codes cleared, latched codes cleared, proven), `happened_at` (start of the order, of the test or of the scan), `ids` (order or scan). A step that was not made has no row |
//! | `wrong_part` | `vin`, `happened_at`, `what` (module or battery: what was replaced), `module` or `position` of it, `truly` (position or module address of what was at fault), `cost`, `ids` (order) |
//!
//! The rules of a case stand in `recovery`, the rows of other worlds and of habits in `truth_of_worlds`.
//!
//! Fails only where the file cannot be written.

use std::io::Write;
use std::sync::Arc;

use chrono::NaiveDate;

use super::dialects::{date, instant};
use super::facts::{Fact, Minute};
use super::habits::Note;
use super::life::Life;
use super::models::{BatterySpec, Hold, Model};
use super::recovery::recoveries;
use super::surroundings::Surroundings;
use super::truth_of_worlds::{MORE_COLUMNS, more_of_battery};
use trade::derived_words::FloodCause;
use trade::words::Outcome;

/// A battery's life.
#[derive(Debug, Clone)]
pub struct BatteryLife {
    pub position: &'static str,
    pub installed_day: i32,
    pub ended_day: i32,
    pub failed_at: Option<Minute>,
    pub outcome: Outcome,
    pub frailty: f64,
    pub wear: f64,
    pub spec: &'static BatterySpec,
    pub made_day: i32,
    pub bad_batch: bool,
    pub without_warning: bool,
}

/// A battery's hidden state at the end of a week.
#[derive(Debug, Clone)]
pub struct TrueHazard {
    pub week_ending_day: i32,
    pub position: &'static str,
    pub wear: f64,
    pub hazard: f64,
    pub chance: f64,
}

/// A flood and the scans that showed it.
#[derive(Debug, Clone)]
pub struct TrueFlood {
    pub event: u32,
    pub at: Minute,
    pub ended: Option<Minute>,
    pub cause: FloodCause,
    pub scan_ids: Vec<String>,
}

/// A part replaced for a fault that was elsewhere.
#[derive(Debug, Clone)]
pub struct WrongPart {
    pub at: Minute,
    pub order_no: String,
    /// module or battery.
    pub replaced: &'static str,
    /// Address or position of what was replaced.
    pub place: &'static str,
    /// Position or address of what was at fault.
    pub truly: &'static str,
    pub cost: f64,
}

const COLUMNS: [&str; 22] = [
    "record",
    "vin",
    "position",
    "make",
    "model",
    "module",
    "code",
    "case",
    "started",
    "ended",
    "happened_at",
    "what",
    "truly",
    "ids",
    "frailty",
    "wear",
    "hazard",
    "chance",
    "cost",
    "chemistry",
    "rating_value",
    "depot",
];

/// Writes `truth.csv`.
pub struct TruthFile<W: Write> {
    writer: csv::Writer<W>,
    first_day: NaiveDate,
    window_start: Minute,
    columns: Vec<&'static str>,
}

/// One row by column name.
type Cells<'a> = &'a [(&'static str, String)];

impl<W: Write> TruthFile<W> {
    /// Begins the file with what the world as a whole hides.
    pub fn start(out: W, around: &Surroundings) -> Result<Self, csv::Error> {
        let plain = around.scenario.plain();
        let more: &[&str] = if plain { &[] } else { &MORE_COLUMNS };
        let columns = [&COLUMNS[..], more].concat();
        let mut writer = csv::Writer::from_writer(out);
        writer.write_record(&columns)?;
        let mut file = TruthFile {
            writer,
            first_day: around.weather.first_day,
            window_start: i64::from(around.window_start) * 1440,
            columns,
        };
        file.models(&around.models)?;
        if !plain {
            file.world(around)?;
        }
        Ok(file)
    }

    pub(super) fn row(&mut self, cells: Cells<'_>) -> Result<(), csv::Error> {
        let cell = |column: &&str| {
            cells
                .iter()
                .find(|(name, _)| name == column)
                .map_or("", |(_, text)| text)
        };
        self.writer.write_record(self.columns.iter().map(cell))
    }

    /// What stays latched, and what only points elsewhere, by model.
    fn models(&mut self, models: &[Arc<Model>]) -> Result<(), csv::Error> {
        for model in models {
            let about = |module: usize, code: &dyn std::fmt::Display| {
                vec![
                    ("make", model.spec.make.to_owned()),
                    ("model", model.spec.name.to_owned()),
                    ("module", model.modules[module].address.to_owned()),
                    ("code", code.to_string()),
                ]
            };
            for (module, code, hold) in &model.latched {
                let how = if *hold == Hold::Protected {
                    "protected"
                } else {
                    "stubborn"
                };
                let mut cells = about(*module, code);
                cells.extend([("record", "latched".to_owned()), ("what", how.to_owned())]);
                self.row(&cells)?;
            }
            let (module, code) = &model.companion;
            let mut cells = about(*module, code);
            cells.push(("record", "companion".to_owned()));
            self.row(&cells)?;
        }
        Ok(())
    }

    /// Everything hidden of one vehicle; `told` is what habits did to its records.
    pub fn vehicle(&mut self, life: &Life, told: &[Note]) -> Result<(), csv::Error> {
        if !life.world.scenario.plain() {
            self.vehicle_in_world(life, told)?;
        }
        let vin = || ("vin", life.vehicle.vin.clone());
        let from = self
            .window_start
            .max(i64::from(life.vehicle.entry_day()) * 1440);
        for battery in &life.lives {
            let spec = battery.spec;
            let mut cells = vec![
                ("record", "battery".to_owned()),
                vin(),
                ("position", battery.position.to_owned()),
                ("started", self.day(battery.installed_day)),
                ("ended", self.day(battery.ended_day)),
                ("what", battery.outcome.to_string()),
                ("frailty", format!("{:.4}", battery.frailty)),
                ("wear", format!("{:.4}", battery.wear)),
                ("depot", life.depot.name.to_owned()),
            ];
            cells.push(("chemistry", spec.chemistry.to_string()));
            cells.push(("rating_value", spec.rating.to_string()));
            if let Some(at) = battery.failed_at {
                cells.push(("happened_at", self.at(at)));
            }
            if !life.world.scenario.plain() {
                cells.extend(more_of_battery(self, battery));
            }
            self.row(&cells)?;
        }
        for hazard in life
            .hazards
            .iter()
            .filter(|hazard| hazard.week_ending_day >= life.vehicle.entry_day())
        {
            self.row(&[
                ("record", "hazard".to_owned()),
                vin(),
                ("position", hazard.position.to_owned()),
                ("ended", self.day(hazard.week_ending_day)),
                ("wear", format!("{:.4}", hazard.wear)),
                ("hazard", format!("{:.6}", hazard.hazard)),
                ("chance", format!("{:.5}", hazard.chance)),
            ])?;
        }
        for flood in &life.floods {
            let scans = scans_in_dumps(flood, life);
            if flood.at < from && scans.is_empty() {
                continue;
            }
            self.row(&[
                ("record", "flood".to_owned()),
                vin(),
                ("started", self.at(flood.at)),
                (
                    "ended",
                    flood.ended.map(|at| self.at(at)).unwrap_or_default(),
                ),
                ("what", flood.cause.to_string()),
                ("ids", scans.join(" ")),
            ])?;
        }
        for part in life.wrong_parts.iter().filter(|part| part.at >= from) {
            let place = if part.replaced == "battery" {
                "position"
            } else {
                "module"
            };
            self.row(&[
                ("record", "wrong_part".to_owned()),
                vin(),
                ("happened_at", self.at(part.at)),
                ("what", part.replaced.to_owned()),
                (place, part.place.to_owned()),
                ("truly", part.truly.to_owned()),
                ("cost", format!("{:.2}", part.cost)),
                ("ids", part.order_no.clone()),
            ])?;
        }
        for step in recoveries(life) {
            self.row(&[
                ("record", "recovery".to_owned()),
                vin(),
                ("case", step.case.to_string()),
                ("what", step.what.to_owned()),
                ("happened_at", self.at(step.at)),
                ("ids", step.id),
            ])?;
        }
        Ok(())
    }

    pub fn finish(mut self) -> Result<W, std::io::Error> {
        self.writer.flush()?;
        self.writer.into_inner().map_err(|error| error.into_error())
    }

    pub(super) fn day(&self, day: i32) -> String {
        date(self.first_day, day).to_string()
    }

    pub(super) fn at(&self, at: Minute) -> String {
        instant(self.first_day, at)
            .format("%Y-%m-%dT%H:%M:%SZ")
            .to_string()
    }
}

/// The scans of a flood that the dumps hold.
fn scans_in_dumps(flood: &TrueFlood, life: &Life) -> Vec<String> {
    let in_dumps = |id: &&String| {
        life.facts
            .iter()
            .any(|fact| matches!(fact, Fact::Scan(scan) if scan.scan_id == **id))
    };
    flood.scan_ids.iter().filter(in_dumps).cloned().collect()
}
