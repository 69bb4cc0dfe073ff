//! One vehicle's life, week by week from its first day: wear, weather, what breaks, and when the
//! agenda sends it to a shop.
//!
//! A week first wears the batteries, then draws what happens on which day, then lets each happening
//! run its course (`repairs`). The chance that a battery fails in the week is the documented hazard
//! of `wear` and nothing else; signs such as sags and discharges come from the same hidden wear, so
//! the hidden state holds all there is to know. Facts before the dumps begin are dropped. Nothing
//! here fails.

use std::sync::Arc;

use chrono::Datelike;

use super::events::Event;
use super::facts::{Fact, Minute};
use super::fleet::Vehicle;
use super::floods;
use super::habits::{COMPENSATED, Habit, Note};
use super::memory::Memory;
use super::models::{BatterySpec, Model};
use super::orders::Task;
use super::readings::FailureForm;
use super::streams::{Domain, Stream, between, chance, normal, stream, weighted, whole};
use super::surroundings::Surroundings;
use super::truth::{BatteryLife, TrueFlood, TrueHazard, WrongPart};
use super::wear::{self, Hidden};
use super::weather::{DEPOTS, Depot};
use super::worlds::{ChargingFault, Traits};
use trade::derived_words::FloodCause;

/// What can happen to a vehicle on a day.
#[derive(Debug, Clone, Copy)]
pub enum Happening {
    Failure(usize, FailureForm),
    /// A failed battery was left in: it fails to start again.
    Recurrence(usize),
    Repair(usize),
    SmallSag,
    LargeSag,
    DeepDischarge(usize),
    /// The driver brings the vehicle in because of what a sag set off.
    Trouble,
    DeadModule(usize),
    /// Module and flood; whether the shop blames the battery first.
    FixModule(usize, u32, bool),
    BusFault(u8),
    FixBus(u32),
    Reprogramming(usize),
    Unexplained,
    Fault,
    FaultVisit,
    Service,
    /// A test of the batteries and nothing else.
    AutumnTest,
    FollowUp,
    /// The n-th visit because codes stay latched.
    Latched(u32),
    Planned(usize),
    /// Called in by a decision from outside.
    CalledIn,
    /// It did not start and was only discharged.
    OnlyDischarged(usize),
    /// A test because of trouble before.
    Recheck(usize),
}

/// A battery in its place.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub spec: &'static BatterySpec,
    pub hidden: Hidden,
    pub installed_day: i32,
    pub made_day: i32,
    /// Chance of failing in the week lived last, where a law of margin says it.
    pub hazard: f64,
    /// It fails, or failed, without warning.
    pub without_warning: bool,
    pub failed: Option<FailureForm>,
    pub failed_at: Option<Minute>,
    /// Day and share of the rating that a test read last.
    pub last_reading: Option<(i32, f64)>,
}

/// Everything that is known of one vehicle while it lives, and what it leaves behind.
#[derive(Clone)]
pub struct Life {
    pub world: Arc<Surroundings>,
    pub vehicle: Vehicle,
    pub model: Arc<Model>,
    pub depot: &'static Depot,
    pub rng: Stream,
    pub batteries: Vec<Fitted>,
    pub memory: Memory,
    pub agenda: Vec<(i32, u32, Happening)>,
    pub busy_until: Minute,
    pub facts: Vec<Fact>,
    pub floods: Vec<TrueFlood>,
    pub hazards: Vec<TrueHazard>,
    pub lives: Vec<BatteryLife>,
    pub wrong_parts: Vec<WrongPart>,
    pub battery_weeks: u64,
    pub failures: u64,
    next_seq: u32,
    next_event: u32,
    pub next_number: u64,
    pub events: Vec<Event>,
    /// `None` in the smooth world.
    pub traits: Option<Traits>,
    pub charging_fault: Option<ChargingFault>,
    /// What habits of shops did, and what is true.
    pub notes: Vec<Note>,
    /// Whether the shop plans replacements by its own rules.
    pub shops_plan: bool,
    /// What the vehicle is called in for this week, and what is done if it is in for a service.
    pub called_for: Vec<(usize, Task)>,
    pub at_service: Vec<(usize, Task)>,
    pub special_visits: u64,
    /// The first week it lives; a vehicle that comes within a week lives from the next.
    pub first_week: usize,
    closed: bool,
    pub week_start: i32,
    week_start_km: f64,
    week_km: f64,
}

impl Life {
    /// The vehicle on its first day.
    pub fn start(world: &Arc<Surroundings>, vehicle: Vehicle) -> Life {
        let first_day = vehicle.in_service_day;
        let mut life = Life {
            world: Arc::clone(world),
            model: Arc::clone(&world.models[vehicle.model]),
            depot: &DEPOTS[vehicle.depot],
            rng: stream(world.scenario.seed, Domain::Life, vehicle.index),
            week_start_km: between_km(vehicle.index),
            vehicle,
            batteries: Vec::new(),
            memory: Memory::default(),
            agenda: Vec::new(),
            busy_until: 0,
            facts: Vec::new(),
            floods: Vec::new(),
            hazards: Vec::new(),
            lives: Vec::new(),
            wrong_parts: Vec::new(),
            battery_weeks: 0,
            failures: 0,
            next_seq: 0,
            next_event: 0,
            next_number: 0,
            first_week: (first_day as usize).div_ceil(7),
            closed: false,
            events: Vec::new(),
            traits: None,
            charging_fault: None,
            notes: Vec::new(),
            shops_plan: true,
            called_for: Vec::new(),
            at_service: Vec::new(),
            special_visits: 0,
            week_start: first_day,
            week_km: 0.0,
        };
        life.draw_traits();
        for spec in life.fittings() {
            let fitted = life.new_battery(spec, first_day);
            life.batteries.push(fitted);
        }
        life.memory.cleared_at = i64::from(first_day) * 1440;
        life.memory.cleared_odometer_km = life.week_start_km;
        let first_service =
            first_day + (life.service_gap_days() * between(&mut life.rng, 0.3, 1.0)) as i32;
        life.plan(first_service, Happening::Service);
        life.snapshot_until(life.first_week as i32 * 7 - 1);
        life
    }

    /// Lives one week; before the vehicle's first and after its last nothing happens. The week in
    /// which its time or the simulation ends closes its books. Weeks must come in turn.
    pub fn step(&mut self, week: usize) {
        let last_day = self.world.last_day.min(self.vehicle.leave_day - 1);
        if self.closed || week < self.first_week {
            return;
        }
        if week as i32 * 7 <= last_day {
            self.week(week, last_day);
        }
        if (week as i32 + 1) * 7 > last_day {
            self.finish();
        }
    }

    /// Closes the books, if the last week has not.
    pub fn finish(&mut self) {
        if !self.closed {
            self.close(self.world.last_day.min(self.vehicle.leave_day - 1));
            self.closed = true;
        }
    }

    /// Whether the vehicle is in the fleet on that day.
    pub fn in_fleet(&self, day: i32) -> bool {
        !self.closed && self.vehicle.entry_day() <= day
    }

    /// Whether a habit of records is on.
    pub fn shows_habit(&self, habit: Habit) -> bool {
        self.world.scenario.habits.contains(&habit)
    }

    /// Whether the shop's tester allows for temperature itself.
    pub fn compensated(&self) -> bool {
        self.shows_habit(Habit::CompensatedTesters) && COMPENSATED.contains(&self.depot.shop)
    }

    /// Days between services.
    pub fn service_gap_days(&mut self) -> f64 {
        let weeks = self.shop().service_weeks;
        weeks * 7.0 * between(&mut self.rng, 0.8, 1.2)
    }

    /// Puts a happening on the agenda.
    pub fn plan(&mut self, day: i32, happening: Happening) {
        self.agenda.push((day, self.next_seq, happening));
        self.next_seq += 1;
    }

    /// Puts it some days from `day`, both ends included.
    pub fn plan_within(&mut self, day: i32, from: i64, to: i64, happening: Happening) {
        let wait = whole(&mut self.rng, from, to) as i32;
        self.plan(day + wait, happening);
    }

    /// The number of a new event of codes.
    pub fn new_event(&mut self) -> u32 {
        self.next_event += 1;
        self.next_event
    }

    /// Sets a supply flood.
    pub fn supply_flood(&mut self, at: Minute) {
        let event = self.new_event();
        let size = self.world.scenario.flood_size_factor;
        floods::supply(&mut self.rng, &self.model, &mut self.memory, event, size);
        self.note_flood(event, at, FloodCause::Supply);
    }

    /// Sets the few codes of a small sag.
    pub fn small_sag(&mut self) {
        let event = self.new_event();
        floods::small_sag(&mut self.rng, &self.model, &mut self.memory, event);
    }

    pub fn odometer_km(&self, at: Minute) -> f64 {
        let days = (at as f64 / 1440.0 - f64::from(self.week_start)) / 7.0;
        self.week_start_km + self.week_km * days.clamp(0.0, 1.0)
    }

    fn week(&mut self, week: usize, last_day: i32) {
        if self.world.law.is_some() {
            self.rng = self.stream_of_week(week);
        }
        let weather = self.world.weather.week(self.vehicle.depot, week);
        let (ageing, strain) = (f64::from(weather.ageing), f64::from(weather.strain));
        self.week_start_km += self.week_km;
        self.week_start = week as i32 * 7;
        let standing = chance(&mut self.rng, self.vehicle.standing);
        let pace = between(&mut self.rng, 0.7, 1.3);
        self.week_km = if standing {
            0.0
        } else {
            self.vehicle.km_a_week * pace
        };
        self.memory.fade(&mut self.rng);
        for position in 0..self.batteries.len() {
            match self.world.law {
                None => self.wear_battery(position, standing, ageing, strain),
                Some(law) => self.live_battery(law, position, week, standing),
            }
        }
        self.draw_other_trouble();
        self.campaigns();

        let sunday = (self.week_start + 6).min(last_day);
        while let Some(index) = self.next_on_agenda(sunday) {
            let (day, _, happening) = self.agenda.swap_remove(index);
            self.happen(day, happening);
        }
        self.note_hazards(week);
        self.snapshot_until(sunday);
    }

    fn next_on_agenda(&self, until: i32) -> Option<usize> {
        let due = self
            .agenda
            .iter()
            .enumerate()
            .filter(|(_, entry)| entry.0 <= until);
        due.min_by_key(|(_, entry)| (entry.0, entry.1))
            .map(|(index, _)| index)
    }

    /// Wear of the week, then what the battery does.
    fn wear_battery(&mut self, position: usize, standing: bool, ageing: f64, strain: f64) {
        let drain = self.model.spec.drain_factor;
        let battery = &mut self.batteries[position];
        if battery.failed.is_some() {
            return;
        }
        let rng = &mut self.rng;
        let hidden = &mut battery.hidden;
        let still = if standing { 1.0 } else { 0.0 };
        let life_years = wear::rated_life_years(hidden.chemistry);
        hidden.wear += wear::weekly_wear(life_years, ageing, still, hidden.frailty);
        let usual = 0.9 - 0.22 * still - 0.12 * hidden.wear;
        hidden.charge =
            (usual + 0.4 * (hidden.charge - usual) + normal(rng, 0.0, 0.04)).clamp(0.1, 1.0);
        let deep = chance(rng, wear::deep_discharge_chance(drain, standing));
        if deep {
            hidden.wear += wear::deep_discharge_wear(hidden.chemistry);
            hidden.charge = between(rng, 0.05, 0.4);
        }
        let worn = hidden.wear;
        let fails = chance(rng, 1.0 - (-wear::weekly_hazard(worn, strain)).exp());
        let small = chance(rng, wear::small_sag_chance(worn, strain));
        let large = chance(rng, wear::large_sag_chance(worn, strain));
        let form = match weighted(rng, [0.3, 0.2, 0.5].into_iter()) {
            0 => FailureForm::DeadCell,
            1 => FailureForm::Flat,
            _ => FailureForm::Powerless,
        };
        let happenings = [
            (deep, Happening::DeepDischarge(position)),
            (small, Happening::SmallSag),
            (large, Happening::LargeSag),
            (fails, Happening::Failure(position, form)),
        ];
        for (happens, happening) in happenings {
            if happens {
                self.plan_within(self.week_start, 0, 6, happening);
            }
        }
        self.count_battery_week();
    }

    /// Counts a week in service within the dumps.
    pub fn count_battery_week(&mut self) {
        if self.week_start >= self.world.window_start.max(self.vehicle.entry_day()) {
            self.battery_weeks += 1;
        }
    }

    /// What else goes wrong, none of it the battery's doing. Rates per vehicle-week.
    fn draw_other_trouble(&mut self) {
        let fault = 1.1 / 52.0 * self.vehicle.fault_factor;
        let rates = [
            fault,
            0.014 / 52.0,
            0.010 / 52.0,
            0.012 / 52.0,
            0.010 / 52.0,
        ];
        if !chance(&mut self.rng, rates.iter().sum()) {
            return;
        }
        let n_modules = self.model.modules.len() as i64;
        let happening = match weighted(&mut self.rng, rates.into_iter()) {
            0 => Happening::Fault,
            1 => Happening::DeadModule(whole(&mut self.rng, 2, n_modules - 1) as usize),
            2 => Happening::BusFault(1),
            3 => Happening::Reprogramming(whole(&mut self.rng, 0, n_modules - 1) as usize),
            _ => Happening::Unexplained,
        };
        self.plan_within(self.week_start, 0, 6, happening);
    }

    /// A fleet-wide reprogramming reaches a vehicle within five weeks of its start, a shop's autumn
    /// tests within four weeks of the 25th of September.
    fn campaigns(&mut self) {
        let week = self.week_start..self.week_start + 7;
        if let Some((module, day)) = self.model.campaign
            && week.contains(&day)
            && chance(&mut self.rng, 0.35)
        {
            self.plan_within(day, 0, 34, Happening::Reprogramming(module));
        }
        let autumn = week.clone().any(|day| {
            let date = self.world.weather.date(day);
            (date.month(), date.day()) == (9, 25)
        });
        if autumn && self.tests(self.shop().autumn_tests, false) {
            self.plan_within(week.start, 0, 27, Happening::AutumnTest);
        }
    }
}

/// A few delivery kilometres, the vehicle's own.
fn between_km(index: u64) -> f64 {
    4.0 + (index % 37) as f64
}
