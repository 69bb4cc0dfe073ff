//! Scans: which modules are asked and answer, what they show, and the counters since the last clear.
//!
//! A full scan asks the modules the shop's tool knows, a short one the first four. Nothing here fails;
//! what the modules hold is left to `memory`.

use super::facts::{PENDING, Scan, ScannedCode};
use super::floods::{self, LEAST_MODULES};
use super::life::Life;
use super::modules::bus_off;
use super::streams::{between, chance, normal, shuffle, whole};
use super::workshop::Job;
use trade::derived_words::FloodCause;

/// What a scan showed.
#[derive(Debug, Default)]
pub struct Shown {
    pub codes: usize,
    /// Events of which the scan showed a flood.
    pub floods: Vec<u32>,
}

impl Life {
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
        let down = self
            .memory
            .codes
            .iter()
            .any(|stored| stored.standing && stored.code == bus_off(self.model.spec.heavy));
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
        let missed = floods::scan_artefact(&mut self.rng, &self.model, answering, silent, size);
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
                latched: false,
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
}

/// Readiness monitors complete after so many kilometres: one after the other, all by 450 km.
/// `common practice, no source`
fn ready(supported: i64, driven_km: f64) -> i64 {
    (1..=supported)
        .filter(|monitor| driven_km >= 450.0 * (*monitor as f64 / supported as f64).powf(1.3))
        .count() as i64
}
