//! How each happening runs its course: what breaks, what the driver notices, what the shop does about
//! it and what it gets wrong.
//!
//! A discharge that a charge puts right is put down to `other` (left standing, lights on), a failed
//! battery to `supply`: only the second is a failure. Nothing here fails.

use super::events::What;
use super::facts::Minute;
use super::floods;
use super::habits::Habit;
use super::life::{Happening, Life};
use super::scanning::Shown;
use super::streams::{chance, pick, whole};
use super::truth::WrongPart;
use trade::derived_words::FloodCause;
use trade::words::{Operation, OrderCause};

impl Life {
    /// Lets a happening run its course on that day.
    pub fn happen(&mut self, day: i32, happening: Happening) {
        let noon = i64::from(day) * 1440 + 720;
        match happening {
            Happening::Failure(position, form) => {
                let at = self.roadside_time(day);
                let battery = &mut self.batteries[position];
                if battery.failed.is_none() {
                    battery.failed = Some(form);
                    battery.failed_at = Some(at);
                    self.note(at, position, What::Failed);
                    self.failure(day, position, at);
                }
            }
            Happening::Recurrence(position) => self.recurrence(day, position),
            Happening::Repair(position) => self.repair(day, position),
            Happening::SmallSag => {
                self.small_sag();
                if chance(&mut self.rng, 0.15) {
                    self.plan_within(day, 0, 7, Happening::Trouble);
                }
            }
            Happening::LargeSag => {
                self.supply_flood(noon - 600);
                if chance(&mut self.rng, 0.75) {
                    self.plan_within(day, 0, 5, Happening::Trouble);
                }
            }
            Happening::DeepDischarge(position) => self.deep_discharge(day, position),
            Happening::Trouble => self.trouble(day),
            Happening::DeadModule(module) => self.dead_module(day, module),
            Happening::FixModule(module, event, blames_battery) => {
                self.fix_module(day, module, event, blames_battery);
            }
            Happening::BusFault(bus) => {
                let event = self.new_event();
                let size = self.world.scenario.flood_size_factor;
                floods::bus_fault(
                    &mut self.rng,
                    &self.model,
                    &mut self.memory,
                    event,
                    size,
                    bus,
                );
                self.note_flood(event, noon - 600, FloodCause::Network);
                self.plan_within(day, 0, 6, Happening::FixBus(event));
            }
            Happening::FixBus(event) => self.fix_bus(day, event),
            Happening::Reprogramming(module) => self.reprogram(day, module),
            Happening::Unexplained => self.unexplained(day),
            Happening::Fault => {
                let event = self.new_event();
                floods::single_fault(&mut self.rng, &self.model, &mut self.memory, event);
                if chance(&mut self.rng, 0.3) {
                    self.plan_within(day, 0, 10, Happening::FaultVisit);
                }
            }
            Happening::FaultVisit => self.fault_visit(day),
            Happening::Service => self.service(day),
            Happening::AutumnTest => self.autumn_test(day),
            Happening::FollowUp => {
                let mut job = self.open_job(day, "check after repair");
                let voltage = self.steady_voltage();
                let shown = self.scan(&mut job, true, voltage);
                self.floods_found(day, &shown.floods);
                job.did(Operation::Other, 0.3);
                self.close_job(job);
            }
            Happening::Latched(visit) => self.latched(day, visit),
            Happening::Planned(position) => {
                self.planned(day, position);
            }
            Happening::CalledIn => self.called_in(day),
            Happening::OnlyDischarged(position) => self.only_discharged(day, position),
            Happening::Recheck(position) => self.recheck(day, position),
        }
    }

    fn roadside_time(&mut self, day: i32) -> Minute {
        let offset = (self.shop().utc_offset_h * 60.0) as i64;
        i64::from(day) * 1440 + 340 - offset
    }

    /// A battery has failed: codes, the driver's call, and the shop's first idea.
    fn failure(&mut self, day: i32, position: usize, at: Minute) {
        if at >= i64::from(self.world.window_start.max(self.vehicle.entry_day())) * 1440 {
            self.failures += 1;
        }
        let flood = chance(&mut self.rng, 0.55);
        if flood {
            self.supply_flood(at);
        } else if chance(&mut self.rng, 0.8) {
            self.small_sag();
        }
        if flood && position == 0 && self.habit(self.shop().wrong_part) {
            self.no_start_call(day, position, None);
            self.wrong_module(day, position);
            self.plan_within(day, 7, 35, Happening::Recurrence(position));
            return;
        }
        if chance(&mut self.rng, if position == 0 { 0.7 } else { 0.25 }) {
            self.no_start_call(day, position, Some(OrderCause::Supply));
            self.plan_within(day, 0, 2, Happening::Repair(position));
        } else {
            self.plan_within(day, 0, 4, Happening::Repair(position));
        }
    }

    /// The driver is stranded. An order that is about another battery than the main one says so.
    fn no_start_call(&mut self, day: i32, position: usize, cause: Option<OrderCause>) {
        let mut job = self.open_call(day, "will not start");
        job.cause = cause;
        job.about = (position > 0).then(|| self.batteries[position].spec.position);
        job.did(Operation::NoStartCall, 0.5);
        job.clock += whole(&mut self.rng, 15, 30);
        if chance(&mut self.rng, 0.62) {
            job.did(Operation::JumpStart, 0.3);
        } else {
            job.did(Operation::Tow, 1.2);
        }
        self.close_job(job);
    }

    /// The shop believes a module and replaces it, the battery untested.
    fn wrong_module(&mut self, day: i32, position: usize) {
        let mut job = self.open_job(day, "many warning lamps, module not answering");
        job.cause = Some(OrderCause::Module);
        if chance(&mut self.rng, 0.6) {
            job.technician = self.shop().quick_to_blame();
        }
        let voltage = self.sagging_voltage();
        self.scan(&mut job, true, voltage);
        let blamed = self.blamed_module();
        let cost = self.module_work(&mut job, Operation::ModuleReplaced, blamed);
        self.wrong_parts.push(WrongPart {
            at: job.opened,
            order_no: job.order_no.clone(),
            replaced: "module",
            place: self.model.modules[blamed].address,
            truly: self.batteries[position].spec.position,
            cost,
        });
        self.clear_and_check(&mut job);
        self.close_job(job);
    }

    /// A module that holds codes of the flood, not the first: that one is blamed least.
    fn blamed_module(&mut self) -> usize {
        let mut holders: Vec<usize> = self.memory.codes.iter().map(|code| code.module).collect();
        holders.sort_unstable();
        holders.dedup();
        holders.retain(|module| *module > 0);
        pick(&mut self.rng, &holders).copied().unwrap_or(1)
    }

    fn recurrence(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_none() {
            return;
        }
        let at = self.roadside_time(day);
        if chance(&mut self.rng, 0.6) {
            self.supply_flood(at);
        } else {
            self.small_sag();
        }
        self.no_start_call(day, position, Some(OrderCause::Supply));
        self.plan_within(day, 0, 1, Happening::Repair(position));
    }

    /// The failed battery is replaced.
    fn repair(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_none() {
            return;
        }
        let complaint = match position {
            0 => "cranks slowly or not at all",
            _ => "start-stop and comfort functions off",
        };
        let mut job = self.open_job(day, complaint);
        job.cause = Some(OrderCause::Supply);
        let mut codes = 0;
        if chance(&mut self.rng, 0.9) {
            let voltage = self.sagging_voltage();
            codes = self.scan(&mut job, true, voltage).codes;
        }
        if self.tests(self.shop().tests_after_trouble, true) {
            self.test(&mut job, position);
        }
        self.replace_battery(&mut job, position);
        self.look_at_charging(&mut job, 0.2);
        if codes > 0 && self.habit(self.shop().clears) {
            self.clear_and_check(&mut job);
        }
        self.close_job(job);
    }

    fn deep_discharge(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_some() {
            return;
        }
        let at = self.roadside_time(day);
        let flood = chance(&mut self.rng, 0.25);
        if flood {
            self.supply_flood(at);
        } else if chance(&mut self.rng, 0.6) {
            self.small_sag();
        }
        if position == 0 && chance(&mut self.rng, 0.6) {
            let complaint = if chance(&mut self.rng, 0.5) {
                "will not start, lights were left on"
            } else {
                "will not start after a long stand"
            };
            let mut job = self.open_call(day, complaint);
            job.cause = Some(OrderCause::Other);
            let sound = self.batteries[position].hidden.health() > 0.75;
            let blamed = sound && self.shows_habit(Habit::ChargedNotFailed);
            if blamed {
                job.cause = Some(OrderCause::Supply);
            }
            self.note(job.opened, position, What::OnlyDischarged);
            job.did(Operation::NoStartCall, 0.5);
            job.clock += whole(&mut self.rng, 15, 30);
            job.did(Operation::JumpStart, 0.3);
            if chance(&mut self.rng, 0.5) || blamed {
                self.charge_battery(&mut job, position);
            }
            if blamed {
                let told = "no-start, supply";
                self.note_habit(Habit::ChargedNotFailed, position, &job, told, "discharged");
                for (from, to) in [(1, 4), (9, 15), (25, 40)] {
                    self.plan_within(day, from, to, Happening::Recheck(position));
                }
            }
            self.close_job(job);
        }
        if flood && chance(&mut self.rng, 0.7) {
            self.plan_within(day, 0, 4, Happening::Trouble);
        }
    }

    /// A vehicle with a sagging supply comes in, its batteries not failed.
    fn trouble(&mut self, day: i32) {
        if self.any_failed() {
            return;
        }
        let mut job = self.open_job(day, "several warning lamps");
        let voltage = self.sagging_voltage();
        let shown = self.scan(&mut job, true, voltage);
        let supply_flood = self.shows(&shown.floods, FloodCause::Supply);
        if supply_flood && self.habit(self.shop().wrong_part * 0.6) {
            self.close_job(job);
            self.wrong_module(day, 0);
            return;
        }
        job.cause = supply_flood.then_some(OrderCause::Supply);
        if self.tests(self.shop().tests_after_trouble, true) {
            self.test_all(&mut job);
        }
        if chance(&mut self.rng, 0.7) {
            self.charge_battery(&mut job, 0);
        }
        if shown.codes > 0 && self.habit(self.shop().clears) {
            self.clear_and_check(&mut job);
        }
        job.did(Operation::Other, 0.3);
        self.close_job(job);
        self.network_floods_found(day, &shown.floods);
    }

    fn service(&mut self, day: i32) {
        let gap = self.service_gap_days() as i32;
        self.plan(day + gap, Happening::Service);
        if self.any_failed() {
            return;
        }
        let mut job = self.open_job(day, "service");
        job.did(Operation::Other, 1.5);
        let mut shown = Shown::default();
        if self.habit(self.shop().scans_at_service) {
            if chance(&mut self.rng, 0.008) && self.artefact_scan(&mut job) {
                if chance(&mut self.rng, 0.6) {
                    let voltage = self.steady_voltage();
                    shown = self.scan(&mut job, true, voltage);
                }
            } else {
                let full_scans = self.shop().full_scans;
                let full = chance(&mut self.rng, full_scans);
                let voltage = self.steady_voltage();
                shown = self.scan(&mut job, full, voltage);
            }
        }
        let supply_flood = self.shows(&shown.floods, FloodCause::Supply);
        let shop = self.shop();
        if self.tests(shop.tests_at_service, false)
            || (supply_flood && self.tests(shop.tests_after_trouble, true))
        {
            self.test_all(&mut job);
        }
        if shown.codes > 0 && self.habit(if supply_flood { shop.clears } else { 0.5 }) {
            self.clear_and_check(&mut job);
        }
        self.age_rule(&job);
        self.ordered_at_service(&mut job);
        self.close_job(job);
        self.network_floods_found(day, &shown.floods);
        self.bad_charger(day);
    }

    pub fn any_failed(&self) -> bool {
        self.batteries
            .iter()
            .any(|battery| battery.failed.is_some())
    }

    /// A shop's charger does harm for some weeks: the supply sags in the vehicles it serves.
    fn bad_charger(&mut self, day: i32) {
        let (shop, from, to) = self.world.bad_charger;
        if self.depot.shop == shop && (from..to).contains(&day) && chance(&mut self.rng, 0.5) {
            self.supply_flood(self.busy_until + 5);
            self.plan(day + 1, Happening::Trouble);
        }
    }

    /// Codes stayed latched: another plain clear, or the protected one.
    fn latched(&mut self, day: i32, visit: u32) {
        if !self.memory.holds_latched() || self.any_failed() {
            return;
        }
        let mut job = self.open_job(day, "a lamp stays on after the clear");
        job.cause = Some(OrderCause::Module);
        let voltage = self.steady_voltage();
        self.scan(&mut job, true, voltage);
        let protected = self.memory.holds_protected() && self.habit(self.shop().protected_clears);
        self.clear(&mut job, protected);
        if self.habit(self.shop().verifies) {
            let voltage = self.steady_voltage();
            self.scan(&mut job, true, voltage);
        }
        self.close_job(job);
        if self.memory.holds_latched() && visit < 6 && chance(&mut self.rng, 0.8) {
            self.plan_within(day, 4, 40, Happening::Latched(visit + 1));
        }
    }
}
