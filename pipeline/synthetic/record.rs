//! What of a life is kept: facts that fall into the time of the dumps, the register's view of the
//! vehicle, and the truth of its batteries and floods.
//!
//! Nothing here fails or draws; writing it to files is left to `dumps` and `truth`.

use std::sync::Arc;

use super::events::{Event, What};
use super::facts::{Fact, Minute, Scan, Snapshot};
use super::life::{Fitted, Life};
use super::truth::{BatteryLife, TrueFlood, TrueHazard};
use super::wear;
use trade::derived_words::FloodCause;
use trade::words::Outcome;

impl Life {
    /// Notes what truly happened to a battery.
    pub fn note(&mut self, at: Minute, position: usize, what: What) {
        self.events.push(Event {
            at,
            position: self.batteries[position].spec.position,
            chemistry: self.batteries[position].spec.chemistry,
            what,
            order_no: String::new(),
            parts_cost: 0.0,
        });
    }

    /// Notes a flood in the truth.
    pub fn note_flood(&mut self, event: u32, at: Minute, cause: FloodCause) {
        self.floods.push(TrueFlood {
            event,
            at,
            ended: None,
            cause,
            scan_ids: Vec::new(),
        });
    }

    /// Keeps a fact that falls into the time of the dumps.
    pub fn emit(&mut self, at: Minute, fact: Fact) {
        let from = self.world.window_start.max(self.vehicle.entry_day());
        let until = self.vehicle.leave_day.min(self.world.last_day + 1);
        if at >= i64::from(from) * 1440 && at < i64::from(until) * 1440 {
            self.facts.push(fact);
        }
    }

    pub fn emit_scan(&mut self, scan: Scan) {
        self.emit(scan.at, Fact::Scan(scan));
    }

    pub fn note_hazards(&mut self, week: usize) {
        let back = (self.world.weeks() - 1 - week) % self.world.scenario.truth_every_weeks;
        if week < self.world.truth_from_week || back != 0 {
            return;
        }
        let mut hazards = Vec::new();
        for (place, battery) in self.batteries.iter().enumerate() {
            let Some((hazard, chance)) = self.chances(place, week) else {
                continue;
            };
            hazards.push(TrueHazard {
                week_ending_day: self.week_start + 6,
                position: battery.spec.position,
                wear: battery.hidden.wear,
                hazard,
                chance,
            });
        }
        self.hazards.append(&mut hazards);
    }

    /// The true chances of failing in the week lived last, and within the horizon after it; `None` for
    /// a battery that has failed.
    pub fn chances(&self, place: usize, week: usize) -> Option<(f64, f64)> {
        let battery = &self.batteries[place];
        if battery.failed.is_some() {
            return None;
        }
        Some(match self.world.law {
            Some(law) => (battery.hazard, self.lived_chance(law, place, week)),
            None => self.smooth_chances(battery, week),
        })
    }

    /// The same by the smooth hazard.
    fn smooth_chances(&self, battery: &Fitted, week: usize) -> (f64, f64) {
        let strain = f64::from(self.world.weather.week(self.vehicle.depot, week).strain);
        let weeks = self.world.scenario.horizon_weeks;
        let expected = (1..=weeks).map(|ahead| {
            self.world
                .weather
                .expected(self.vehicle.depot, week + ahead)
        });
        (
            1.0 - (-wear::weekly_hazard(battery.hidden.wear, strain)).exp(),
            wear::chance_of_failing(
                &battery.hidden,
                self.model.spec.drain_factor,
                self.vehicle.standing,
                expected,
            ),
        )
    }

    /// Writes the register's view on each export day up to and including `until`.
    pub fn snapshot_until(&mut self, until: i32) {
        let world = Arc::clone(&self.world);
        let due = world
            .register_days
            .iter()
            .filter(|day| **day <= until && **day > until - 7);
        for &day in due {
            if day >= self.vehicle.entry_day() && day < self.vehicle.leave_day {
                self.snapshot(day, None);
            }
        }
    }

    fn snapshot(&mut self, day: i32, left_day: Option<i32>) {
        let (spec, main) = (self.model.spec, &self.batteries[0]);
        let snapshot = Snapshot {
            seen_day: day,
            unit_no: self.vehicle.unit_no.clone(),
            depot: self.depot.name,
            make: spec.make,
            model: spec.name,
            model_year: self.vehicle.model_year,
            powertrain: spec.powertrain,
            in_service_day: self.vehicle.in_service_day,
            joined_day: self.vehicle.joined_day,
            odometer_km: self.odometer_km(i64::from(day) * 1440).round(),
            battery_group: main.spec.group,
            chemistry: main.spec.chemistry,
            rating: (main.spec.rating, main.spec.standard),
            battery_installed_day: main.installed_day,
            left_day,
        };
        self.facts.push(Fact::Snapshot(snapshot));
    }

    /// Ends the batteries' lives and shows a vehicle that left in the next register.
    pub fn close(&mut self, last_day: i32) {
        let leaves = self.vehicle.leave_day <= self.world.last_day;
        let outcome = if leaves {
            Outcome::LeftFleet
        } else {
            Outcome::InService
        };
        let end = if leaves {
            self.vehicle.leave_day
        } else {
            last_day
        };
        for position in 0..self.batteries.len() {
            self.end_battery(position, end, outcome);
        }
        let next_export = self
            .world
            .register_days
            .iter()
            .find(|day| **day >= self.vehicle.leave_day);
        if let (true, Some(&day)) = (leaves, next_export) {
            self.snapshot(day, Some(self.vehicle.leave_day));
        }
    }

    /// Writes a battery's life into the truth, if the dumps' time saw any of it.
    pub fn end_battery(&mut self, position: usize, day: i32, outcome: Outcome) {
        let battery = &self.batteries[position];
        let outcome = if battery.failed.is_some() {
            Outcome::Failed
        } else {
            outcome
        };
        if day < self.world.window_start.max(self.vehicle.entry_day()) {
            return;
        }
        self.lives.push(BatteryLife {
            position: battery.spec.position,
            installed_day: battery.installed_day,
            ended_day: day,
            failed_at: battery.failed_at,
            outcome,
            frailty: battery.hidden.frailty,
            wear: battery.hidden.wear,
            spec: battery.spec,
            made_day: battery.made_day,
            bad_batch: battery.hidden.bad_batch,
            without_warning: battery.failed.is_some() && battery.without_warning,
        });
    }
}
