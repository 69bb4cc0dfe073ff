//! What a shop does to a vehicle and writes down: orders, scans, tests, clears, new batteries.
//!
//! Each is a step of a [`Job`], whose clock moves on. A visit opens and closes on one day. When and
//! why is left to `repairs`. Nothing here fails.

use super::facts::{Fact, Minute, PENDING, Scan, ScannedCode, Test, Work, day_of};
use super::floods::{self, LEAST_MODULES};
use super::life::{Happening, Life};
use super::readings::{Met, Reading, read};
use super::shops::{SHOPS, Shop, habit};
use super::streams::{between, chance, normal, pick, shuffle, whole};
use crate::trade::words::{FloodCause, Operation, OrderCause, Outcome};

/// An order being worked on.
pub struct Job {
    pub order_no: String,
    pub opened: Minute,
    pub clock: Minute,
    pub technician: &'static str,
    pub complaint: &'static str,
    pub cause: Option<OrderCause>,
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
        self.add(operation, None, None, None, Some(labour_hours));
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

/// What a scan showed.
#[derive(Debug, Default)]
pub struct Shown {
    pub codes: usize,
    /// Events of which the scan showed a flood.
    pub floods: Vec<u32>,
}

impl Life<'_> {
    pub fn shop(&self) -> &'static Shop {
        &SHOPS[self.depot.shop]
    }

    pub fn habit(&mut self, likelihood: f64) -> bool {
        let factor = self.world.scenario.shop_habit_factor;
        habit(&mut self.rng, likelihood, factor)
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
            lines: Vec::new(),
        }
    }

    /// A number no other vehicle has: the vehicle's own, then a running one.
    fn own_number(&self) -> u64 {
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
                closed,
                done: line.done,
                odometer_km,
                shop: self.depot.shop,
                technician: job.technician,
                complaint: job.complaint,
                cause: job.cause,
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
        };
        let date_code = date_code(self.world.weather.date(battery.made_day));
        let spec = battery.spec;
        let reading = read(&mut self.rng, shop, &met);
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

    /// Scans; `full` asks every module the tool knows, otherwise only the first four.
    pub fn scan(&mut self, job: &mut Job, full: bool, supply_voltage_v: f64) -> Shown {
        job.clock += whole(&mut self.rng, 6, 14);
        let n_modules = self.model.modules.len();
        let breadth = self.shop().breadth * self.world.scenario.scan_breadth_factor;
        let known =
            ((n_modules as f64 * breadth).round() as usize).clamp(4.min(n_modules), n_modules);
        let n_asked = if full { known } else { 4.min(n_modules) };
        let asked: Vec<bool> = (0..n_modules).map(|module| module < n_asked).collect();
        let silent = self.silent_modules(&asked);
        let hears: Vec<bool> = (0..n_modules)
            .map(|module| asked[module] && !silent.contains(&module))
            .collect();
        let answered = hears.iter().filter(|hears| **hears).count();
        let mut codes = self
            .memory
            .shown(&mut self.rng, &self.model.modules, &hears);
        shuffle(&mut self.rng, &mut codes);
        let scan = self.scan_fact(job, codes, (n_asked, answered), supply_voltage_v);
        let shown = Shown {
            codes: scan.codes.len(),
            floods: self.floods_shown(&hears),
        };
        for flood in self
            .floods
            .iter_mut()
            .filter(|flood| shown.floods.contains(&flood.event))
        {
            flood.scan_ids.push(scan.scan_id.clone());
        }
        self.emit_scan(scan);
        shown
    }

    /// Modules of a bus that is down stay silent as often as not.
    fn silent_modules(&mut self, asked: &[bool]) -> Vec<usize> {
        let down = self.memory.codes.iter().any(|stored| {
            stored.standing && stored.code == super::modules::bus_off(self.model.spec.heavy)
        });
        (0..asked.len())
            .filter(|&module| {
                down && asked[module]
                    && self.model.modules[module].bus == 1
                    && chance(&mut self.rng, 0.5)
            })
            .collect()
    }

    /// Events with so many codes in sight that they make a flood.
    fn floods_shown(&self, hears: &[bool]) -> Vec<u32> {
        let mut shown = Vec::new();
        for flood in &self.floods {
            let seen = || {
                self.memory
                    .codes
                    .iter()
                    .filter(|stored| stored.event == flood.event && hears[stored.module])
            };
            let mut modules: Vec<usize> = seen().map(|stored| stored.module).collect();
            modules.sort_unstable();
            modules.dedup();
            if seen().count() >= floods::SEEN_CODES && modules.len() >= floods::SEEN_MODULES {
                shown.push(flood.event);
            }
        }
        shown
    }

    fn scan_fact(
        &mut self,
        job: &Job,
        codes: Vec<ScannedCode>,
        (asked, answered): (usize, usize),
        supply_voltage_v: f64,
    ) -> Scan {
        self.next_number += 1;
        let odometer_km = self.odometer_km(job.clock);
        let driven_km = (odometer_km - self.memory.cleared_odometer_km).max(0.0);
        let monitors = self
            .model
            .spec
            .monitors
            .map(|supported| (ready(supported, driven_km), supported));
        Scan {
            scan_id: format!("{}S{}", self.shop().prefix, self.own_number()),
            at: job.clock,
            odometer_km: odometer_km.round(),
            modules_asked: asked,
            modules_answered: answered,
            supply_voltage_v: chance(&mut self.rng, 0.95).then_some(supply_voltage_v),
            monitors,
            warm_ups_since_clear: ((driven_km / 16.0) as i64).min(255),
            km_since_clear: driven_km.floor().min(65_535.0),
            shop: self.depot.shop,
            technician: job.technician,
            codes,
        }
    }

    /// The tool loses half of the modules; what answers misses them. A second scan, when there is
    /// one, shows nothing of it.
    pub fn artefact_scan(&mut self, job: &mut Job) -> bool {
        let n_modules = self.model.modules.len();
        let breadth = self.shop().breadth * self.world.scenario.scan_breadth_factor;
        let n_asked = ((n_modules as f64 * breadth).round() as usize).clamp(1, n_modules);
        let mut order: Vec<usize> = (0..n_asked).collect();
        shuffle(&mut self.rng, &mut order);
        let n_answer = ((n_asked as f64 * between(&mut self.rng, 0.35, 0.6)).round() as usize)
            .max(LEAST_MODULES);
        if n_answer + 2 > n_asked {
            return false;
        }
        job.clock += whole(&mut self.rng, 6, 14);
        let (answering, silent) = order.split_at(n_answer);
        let size = self.world.scenario.flood_size_factor;
        let missed = floods::scan_artefact(&mut self.rng, self.model, answering, silent, size);
        let mut codes: Vec<ScannedCode> = Vec::new();
        for (module, code) in missed {
            let status = PENDING | 0x40;
            let module = self.model.modules[module].address;
            codes.push(ScannedCode {
                module,
                code,
                status,
                occurrences: 1,
                of_supply: false,
            });
        }
        let voltage = self.steady_voltage();
        let scan = self.scan_fact(job, codes, (n_asked, n_answer), voltage);
        let event = self.new_event();
        self.note_flood(event, job.clock, FloodCause::ScanArtefact);
        if let Some(flood) = self.floods.last_mut() {
            flood.scan_ids.push(scan.scan_id.clone());
            flood.ended = Some(job.clock);
        }
        self.emit_scan(scan);
        true
    }

    /// Voltage during a scan with nothing wrong: a support charger, the engine, or the battery alone.
    pub fn steady_voltage(&mut self) -> f64 {
        let rng = &mut self.rng;
        match whole(rng, 0, 2) {
            0 => normal(rng, 13.4, 0.15),
            1 => normal(rng, 14.1, 0.2),
            _ => normal(rng, 12.45, 0.12),
        }
    }

    /// Voltage during a scan of a vehicle in trouble with its supply.
    pub fn sagging_voltage(&mut self) -> f64 {
        if chance(&mut self.rng, 0.85) {
            between(&mut self.rng, 9.2, 11.8)
        } else {
            self.steady_voltage()
        }
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
        self.end_battery(position, day, Outcome::Preventive);
        let spec = self.batteries[position].spec;
        self.batteries[position] = self.new_battery(spec, day);
        if chance(&mut self.rng, 0.7) {
            let odometer_km = self.odometer_km(job.clock);
            self.memory.counters_restart(job.clock, odometer_km);
        }
        let price = (spec.price * normal(&mut self.rng, 1.0, 0.05) * 100.0).round() / 100.0;
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

/// Readiness monitors complete after so many kilometres: one after the other, all by 450 km.
/// `common practice, no source`
fn ready(supported: i64, driven_km: f64) -> i64 {
    (1..=supported)
        .filter(|monitor| driven_km >= 450.0 * (*monitor as f64 / supported as f64).powf(1.3))
        .count() as i64
}

/// Month letter (no I) and last digit of the year.
fn date_code(made: chrono::NaiveDate) -> String {
    use chrono::Datelike;
    const MONTHS: &[u8; 12] = b"ABCDEFGHJKLM";
    let letter = MONTHS[made.month0() as usize] as char;
    format!("{letter}{}", made.year().rem_euclid(10))
}
