//! What is not the battery's doing: dead modules, buses that are down, reprogramming, faults, and floods
//! that come to light on a visit for something else.
//!
//! A dead module is sometimes taken for a battery fault first. Nothing here fails.

use super::floods;
use super::life::{Happening, Life};
use super::streams::{between, chance, whole};
use super::truth::WrongPart;
use trade::derived_words::FloodCause;
use trade::words::{Operation, OrderCause, Powertrain};

impl Life {
    pub fn shows(&self, events: &[u32], cause: FloodCause) -> bool {
        self.floods
            .iter()
            .any(|flood| flood.cause == cause && events.contains(&flood.event))
    }

    pub fn dead_module(&mut self, day: i32, module: usize) {
        let event = self.new_event();
        let size = self.world.scenario.flood_size_factor;
        floods::dead_module(
            &mut self.rng,
            &self.model,
            &mut self.memory,
            event,
            size,
            module,
        );
        self.note_flood(event, i64::from(day) * 1440 + 120, FloodCause::Network);
        let blames_battery = self.habit(self.shop().wrong_part);
        self.plan_within(
            day,
            0,
            5,
            Happening::FixModule(module, event, blames_battery),
        );
    }

    pub fn fix_module(&mut self, day: i32, module: usize, event: u32, blames_battery: bool) {
        if !self.stands(event) {
            return;
        }
        let mut job = self.open_job(day, "warning lamps, a function is dead");
        let voltage = self.steady_voltage();
        self.scan(&mut job, true, voltage);
        if blames_battery && self.batteries[0].failed.is_none() {
            job.cause = Some(OrderCause::Supply);
            self.wrong_parts.push(WrongPart {
                at: job.opened,
                order_no: job.order_no.clone(),
                replaced: "battery",
                place: self.batteries[0].spec.position,
                truly: self.model.modules[module].address,
                cost: self.batteries[0].spec.price,
            });
            self.replace_battery(&mut job, 0);
            self.clear(&mut job, false);
            self.plan_within(day, 3, 18, Happening::FixModule(module, event, false));
        } else {
            job.cause = Some(if chance(&mut self.rng, 0.8) {
                OrderCause::Module
            } else {
                OrderCause::Network
            });
            self.module_work(&mut job, Operation::ModuleReplaced, module);
            self.memory.repaired(event);
            self.clear_and_check(&mut job);
        }
        self.close_job(job);
    }

    pub fn stands(&self, event: u32) -> bool {
        self.memory
            .codes
            .iter()
            .any(|code| code.event == event && code.standing)
    }

    pub fn fix_bus(&mut self, day: i32, event: u32) {
        if !self.stands(event) {
            return;
        }
        let mut job = self.open_job(day, "warning lamps, functions come and go");
        job.cause = Some(OrderCause::Network);
        let voltage = self.steady_voltage();
        self.scan(&mut job, true, voltage);
        job.clock += whole(&mut self.rng, 30, 55);
        job.did(Operation::Other, 1.8);
        self.memory.repaired(event);
        self.clear_and_check(&mut job);
        self.close_job(job);
    }

    pub fn reprogram(&mut self, day: i32, module: usize) {
        let mut job = self.open_job(day, "software update");
        let module = module.min(self.model.modules.len() - 1);
        self.module_work(&mut job, Operation::ModuleReprogrammed, module);
        let event = self.new_event();
        let size = self.world.scenario.flood_size_factor;
        floods::reprogramming(
            &mut self.rng,
            &self.model,
            &mut self.memory,
            event,
            size,
            module,
        );
        self.note_flood(event, job.clock, FloodCause::Reprogramming);
        if chance(&mut self.rng, 0.85) {
            let voltage = between(&mut self.rng, 13.0, 13.9);
            self.scan(&mut job, true, voltage);
        }
        if self.habit(self.shop().clears) {
            self.clear_and_check(&mut job);
        }
        self.close_job(job);
    }

    pub fn unexplained(&mut self, day: i32) {
        let event = self.new_event();
        let size = self.world.scenario.flood_size_factor;
        floods::unexplained(&mut self.rng, &self.model, &mut self.memory, event, size);
        let at = i64::from(day) * 1440 + 120;
        self.note_flood(event, at, FloodCause::Unexplained);
        let mut job = self.open_job(day + 1, "several warning lamps");
        let voltage = self.steady_voltage();
        self.scan(&mut job, true, voltage);
        job.did(Operation::Other, 1.5);
        if self.habit(self.shop().clears) {
            self.clear_and_check(&mut job);
        }
        self.close_job(job);
    }

    pub fn fault_visit(&mut self, day: i32) {
        let traction =
            self.model.spec.powertrain != Powertrain::Combustion && chance(&mut self.rng, 0.1);
        let complaint = if traction {
            "reduced drive power"
        } else {
            "warning lamp"
        };
        let mut job = self.open_job(day, complaint);
        job.cause = Some(if traction {
            OrderCause::TractionBattery
        } else {
            OrderCause::Other
        });
        let voltage = self.steady_voltage();
        let shown = self.scan(&mut job, true, voltage);
        job.clock += whole(&mut self.rng, 15, 45);
        job.did(Operation::Other, 0.8);
        if shown.codes > 0 && self.habit(self.shop().clears) {
            self.clear(&mut job, false);
        }
        self.close_job(job);
        self.floods_found(day, &shown.floods);
    }

    /// Floods met by chance on a visit for something else: the vehicle is called back.
    pub fn floods_found(&mut self, day: i32, events: &[u32]) {
        if self.shows(events, FloodCause::Supply) && chance(&mut self.rng, 0.7) {
            self.plan_within(day, 0, 7, Happening::Trouble);
        }
        self.network_floods_found(day, events);
    }

    pub fn network_floods_found(&mut self, day: i32, events: &[u32]) {
        for &event in events {
            let planned = self.agenda.iter().any(|(_, _, happening)| match happening {
                Happening::FixModule(_, planned, _) | Happening::FixBus(planned) => {
                    *planned == event
                }
                _ => false,
            });
            if self.stands(event) && !planned {
                self.plan_within(day, 1, 6, Happening::FixBus(event));
            }
        }
    }
}
