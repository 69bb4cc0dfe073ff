//! What a shop does to a vehicle and writes down: orders, scans, tests, clears, new batteries.
//!
//! Each is a step of a [`Job`], whose clock moves on. A visit opens and closes on one day. When and
//! why is left to `repairs`. Nothing here fails.

use super::events::{Event, What};
use super::facts::{Fact, Minute, Test, Work, day_of};
use super::life::{Happening, Life};
use super::readings::{Met, Reading, read};
use super::shops::{SHOPS, Shop, habit};
use super::streams::{between, chance, normal, pick, whole};
use trade::words::{Operation, OrderCause, Outcome};

/// An order being worked on.
pub struct Job {
    pub order_no: String,
    pub opened: Minute,
    pub clock: Minute,
    pub technician: &'static str,
    pub complaint: &'static str,
    pub cause: Option<OrderCause>,
    /// The battery that the order as a whole is about, where that is not the main one.
    pub about: Option<&'static str>,
    lines: Vec<Line>,
}

struct Line {
    done: Minute,
    operation: Operation,
    position: Option<&'static str>,
    module: Option<&'static str>,
    parts_cost: Option<f64>,
    labour_hours: Option<f64>,
}

impl Job {
    /// Adds an operation that is about neither a battery nor a module.
    pub fn did(&mut self, operation: Operation, labour_hours: f64) {
        self.add(operation, self.about, None, None, Some(labour_hours));
    }

    fn add(
        &mut self,
        operation: Operation,
        position: Option<&'static str>,
        module: Option<&'static str>,
        parts_cost: Option<f64>,
        labour_hours: Option<f64>,
    ) {
        let done = self.clock;
        self.lines.push(Line {
            done,
            operation,
            position,
            module,
            parts_cost,
            labour_hours,
        });
    }
}

impl Life {
    pub fn shop(&self) -> &'static Shop {
        &SHOPS[self.depot.shop]
    }

    pub fn habit(&mut self, likelihood: f64) -> bool {
        let factor = self.world.scenario.shop_habit_factor;
        habit(&mut self.rng, likelihood, factor)
    }

    /// A habit of testing: vehicles outside the tested share are tested only now and then.
    pub fn tests(&mut self, likelihood: f64, after_trouble: bool) -> bool {
        let tested = self.traits.is_none_or(|traits| traits.tested);
        let factor = match (tested, after_trouble) {
            (true, _) => 1.0,
            (false, true) => 0.3,
            (false, false) => 0.0,
        };
        self.habit(likelihood * factor)
    }

    /// Opens an order in the shop's working hours, after whatever it did last to the vehicle.
    pub fn open_job(&mut self, day: i32, complaint: &'static str) -> Job {
        let local = |day: i32, minutes: i64| {
            i64::from(day) * 1440 + minutes - (self.shop().utc_offset_h * 60.0) as i64
        };
        let busy_until = self.busy_until;
        let wished = local(day, 450)..local(day, 830);
        let wait = whole(&mut self.rng, 0, wished.end - wished.start);
        let mut opened = (wished.start + wait).max(busy_until + 20);
        if opened > wished.end {
            let next_day = day_of(opened + (self.shop().utc_offset_h * 60.0) as i64) + 1;
            opened = i64::from(next_day) * 1440 + 450 - (self.shop().utc_offset_h * 60.0) as i64;
        }
        self.job_at(opened, complaint)
    }

    /// Opens an order by the roadside, early in the day.
    pub fn open_call(&mut self, day: i32, complaint: &'static str) -> Job {
        let early = whole(&mut self.rng, 345, 440);
        let at = i64::from(day) * 1440 + early - (self.shop().utc_offset_h * 60.0) as i64;
        self.job_at(at.max(self.busy_until + 20), complaint)
    }

    fn job_at(&mut self, opened: Minute, complaint: &'static str) -> Job {
        self.next_number += 1;
        let technicians = self.shop().technicians;
        Job {
            order_no: format!("{}-{}", self.shop().prefix, self.own_number()),
            opened,
            clock: opened + whole(&mut self.rng, 5, 15),
            technician: pick(&mut self.rng, technicians).copied().unwrap_or(""),
            complaint,
            cause: None,
            about: None,
            lines: Vec::new(),
        }
    }

    /// A number no other vehicle has: the vehicle's own, then a running one.
    pub fn own_number(&self) -> u64 {
        (self.vehicle.index + 1) * 1000 + self.next_number
    }

    /// Closes the order and writes its lines.
    pub fn close_job(&mut self, job: Job) {
        let closed = job.clock + whole(&mut self.rng, 5, 12);
        self.busy_until = closed;
        let odometer_km = self.odometer_km(job.opened).round();
        for line in &job.lines {
            let work = Work {
                order_no: job.order_no.clone(),
                opened: job.opened,
                closed: Some(closed),
                done: line.done,
                odometer_km,
                shop: self.depot.shop,
                technician: job.technician,
                complaint: job.complaint,
                cause: job.cause,
                cause_word: None,
                operation: line.operation,
                position: line.position,
                module: line.module,
                parts_cost: line.parts_cost,
                labour_hours: line.labour_hours,
            };
            self.emit(job.opened, Fact::Work(work));
        }
    }

    /// Tests one battery.
    pub fn test(&mut self, job: &mut Job, position: usize) -> Reading {
        job.clock += whole(&mut self.rng, 6, 12);
        let shop = self.shop();
        let day = day_of(job.clock);
        let battery = &self.batteries[position];
        let met = Met {
            hidden: battery.hidden,
            rating: (battery.spec.rating, battery.spec.standard),
            air_c: f64::from(self.world.weather.day(self.vehicle.depot, day).0),
            failed: battery.failed,
            scale: self
                .instrument(day)
                .map_or(1.0, |instrument| instrument.scale),
            compensated: self.compensated(),
        };
        let date_code = date_code(self.world.weather.date(battery.made_day));
        let spec = battery.spec;
        let reading = read(&mut self.rng, shop, &met);
        if reading.measured.is_some() {
            self.batteries[position].last_reading = Some((day, reading.judged_health));
        }
        let rng = &mut self.rng;
        let test = Test {
            at: job.clock,
            position: spec.position,
            rest_voltage_v: reading.rest_voltage_v,
            surface_charge_removed: shop.removes_surface_charge,
            temperature_c: chance(rng, shop.notes_temperature).then_some(reading.temperature_c),
            measured: reading.measured,
            load: reading.load,
            rated: chance(rng, shop.notes_rating).then_some(met.rating),
            chemistry: spec.chemistry,
            date_code: chance(rng, shop.notes_date_code).then_some(date_code),
            verdict: reading.verdict,
            shop: self.depot.shop,
            technician: job.technician,
        };
        self.note(test.at, position, What::Tested);
        self.emit(test.at, Fact::Test(test));
        job.add(
            Operation::BatteryTested,
            Some(spec.position),
            None,
            None,
            Some(0.2),
        );
        reading
    }

    /// Clears codes by the plain or the protected way; two minutes of work.
    pub fn clear(&mut self, job: &mut Job, protected: bool) {
        job.clock += whole(&mut self.rng, 2, 5);
        let odometer_km = self.odometer_km(job.clock);
        self.memory
            .clear(&mut self.rng, protected, job.clock, odometer_km);
        for flood in self.floods.iter_mut().filter(|flood| flood.ended.is_none()) {
            let stands = self
                .memory
                .codes
                .iter()
                .any(|code| code.event == flood.event && code.standing);
            if !stands {
                flood.ended = Some(job.clock);
            }
        }
        let operation = if protected {
            Operation::ProtectedClear
        } else {
            Operation::CodesCleared
        };
        job.did(operation, if protected { 0.8 } else { 0.2 });
    }

    /// Clears, scans again where that is the habit, and plans what follows from codes that stay.
    pub fn clear_and_check(&mut self, job: &mut Job) {
        self.clear(job, false);
        if self.habit(self.shop().verifies) {
            let voltage = self.steady_voltage();
            let shown = self.scan(job, true, voltage);
            if shown.codes > 0 && self.memory.holds_latched() && chance(&mut self.rng, 0.85) {
                self.plan_within(day_of(job.clock), 2, 20, Happening::Latched(1));
            }
        }
        if self.habit(self.shop().follows_up) {
            self.plan_within(day_of(job.clock), 14, 50, Happening::FollowUp);
        }
    }

    /// Puts in a new battery and ends the old one's life.
    pub fn replace_battery(&mut self, job: &mut Job, position: usize) {
        job.clock += whole(&mut self.rng, 12, 25);
        let day = day_of(job.clock);
        let what = if self.batteries[position].failed.is_some() {
            What::ReplacedFailed
        } else if self
            .wrong_parts
            .iter()
            .any(|part| part.order_no == job.order_no)
        {
            What::ReplacedWrongly
        } else {
            What::ReplacedPlanned
        };
        self.end_battery(position, day, Outcome::Preventive);
        let spec = self.batteries[position].spec;
        self.batteries[position] = self.new_battery(spec, day);
        if chance(&mut self.rng, 0.7) {
            let odometer_km = self.odometer_km(job.clock);
            self.memory.counters_restart(job.clock, odometer_km);
        }
        let price = (spec.price * normal(&mut self.rng, 1.0, 0.05) * 100.0).round() / 100.0;
        self.events.push(Event {
            at: job.clock,
            position: spec.position,
            chemistry: spec.chemistry,
            what,
            order_no: job.order_no.clone(),
            parts_cost: price,
        });
        job.add(
            Operation::BatteryReplaced,
            Some(spec.position),
            None,
            Some(price),
            Some(0.6),
        );
    }

    /// Charges a battery in the vehicle.
    pub fn charge_battery(&mut self, job: &mut Job, position: usize) {
        self.batteries[position].hidden.charge = 0.9;
        let place = self.batteries[position].spec.position;
        job.add(
            Operation::BatteryCharged,
            Some(place),
            None,
            None,
            Some(0.5),
        );
    }

    /// Replaces or reprograms a module.
    pub fn module_work(&mut self, job: &mut Job, operation: Operation, module: usize) -> f64 {
        job.clock += whole(&mut self.rng, 18, 30);
        let address = self.model.modules[module].address;
        let replaced = operation == Operation::ModuleReplaced;
        let cost = (between(&mut self.rng, 240.0, 980.0) * 100.0).round() / 100.0;
        let labour = between(&mut self.rng, 0.8, 2.6);
        job.add(
            operation,
            None,
            Some(address),
            replaced.then_some(cost),
            Some((labour * 10.0).round() / 10.0),
        );
        if replaced { cost } else { 0.0 }
    }
}

/// Month letter (no I) and last digit of the year.
fn date_code(made: chrono::NaiveDate) -> String {
    use chrono::Datelike;
    const MONTHS: &[u8; 12] = b"ABCDEFGHJKLM";
    let letter = MONTHS[made.month0() as usize] as char;
    format!("{letter}{}", made.year().rem_euclid(10))
}
