//! A vehicle's week under a law of margin: what its batteries do, and what shops do about it.
//!
//! A battery's luck of a week comes from a stream of that battery and week, so that decisions made
//! elsewhere, or earlier, do not change it. Nothing here fails.

use super::super::events::What;
use super::super::facts::day_of;
use super::super::life::{Happening, Life};
use super::super::readings::FailureForm;
use super::super::streams::{Domain, Stream, chance, stream};
use super::super::workshop::Job;
use super::chances::FaultNow;
use super::law::{Air, Law, sag_chances};
use super::traits::Traits;
use super::{Instrument, chance_of_failing};
use trade::words::{Operation, OrderCause};

/// Names a battery's place and week among all streams.
fn key(index: u64, week: usize, position: usize) -> u64 {
    (index * 4096 + week as u64) * 4 + position as u64
}

impl Life {
    /// A stream of this vehicle's own for everything but its batteries' luck in a week.
    pub fn stream_of_week(&self, week: usize) -> Stream {
        let seed = self.world.scenario.seed;
        stream(seed, Domain::Week, key(self.vehicle.index, week, 0))
    }

    /// The vehicle's demands on the battery in that position.
    fn traits_of(&self, position: usize) -> Option<Traits> {
        let traits = self.traits?;
        Some(if position == 0 {
            traits
        } else {
            traits.of_auxiliary()
        })
    }

    /// Whether the charging is at fault on that day.
    pub fn charging_at_fault(&self, day: i32) -> bool {
        self.charging_fault
            .is_some_and(|fault| fault.from_day <= day && fault.until_day.is_none())
    }

    /// Lives one battery's week by the law.
    pub fn live_battery(
        &mut self,
        law: &'static Law,
        position: usize,
        week: usize,
        standing: bool,
    ) {
        let Some(traits) = self.traits_of(position) else {
            return;
        };
        let lived = self.world.weather.week(self.vehicle.depot, week);
        let air = Air::new(lived.mean_c(), lived.lowest_c());
        let fault = self.charging_at_fault(self.week_start);
        let seed = self.world.scenario.seed;
        let mut rng = stream(seed, Domain::Luck, key(self.vehicle.index, week, position));
        let battery = &mut self.batteries[position];
        if battery.failed.is_some() {
            return;
        }
        let prospect = law.week(&mut rng, &mut battery.hidden, &traits, air, standing, fault);
        battery.hazard = prospect.failing();
        let sudden = chance(&mut rng, prospect.sudden);
        let worn_out = chance(&mut rng, prospect.worn_out);
        let discharged = chance(&mut rng, prospect.only_discharged);
        let (small, large) = sag_chances(prospect.margin);
        let (small, large) = (chance(&mut rng, small), chance(&mut rng, large));
        let coldest = self.week_start + i32::from(lived.coldest_day);
        if sudden {
            let form = if chance(&mut rng, 0.6) {
                FailureForm::DeadCell
            } else {
                FailureForm::Flat
            };
            battery.without_warning = true;
            self.plan_within(self.week_start, 0, 6, Happening::Failure(position, form));
        } else if worn_out {
            self.plan(
                coldest,
                Happening::Failure(position, FailureForm::Powerless),
            );
        } else if discharged {
            self.plan(coldest, Happening::OnlyDischarged(position));
        }
        let signs = [
            (prospect.deep, Happening::DeepDischarge(position)),
            (small, Happening::SmallSag),
            (large, Happening::LargeSag),
        ];
        for (happens, happening) in signs {
            if happens {
                self.plan_within(self.week_start, 0, 6, happening);
            }
        }
        self.count_battery_week();
    }

    /// The true chance of failing within the horizon after that week.
    pub fn lived_chance(&self, law: &'static Law, position: usize, week: usize) -> f64 {
        let Some(traits) = self.traits_of(position) else {
            return 0.0;
        };
        let fault = FaultNow {
            stands: self.charging_at_fault(week as i32 * 7 + 6),
            may_come: self
                .charging_fault
                .is_none_or(|fault| fault.from_day > week as i32 * 7 + 6),
        };
        chance_of_failing(
            law,
            self.world.outlook(self.vehicle.depot, week),
            (
                self.world.scenario.seed,
                key(self.vehicle.index, week, position),
            ),
            &self.batteries[position].hidden,
            &traits,
            self.vehicle.standing,
            fault,
        )
    }

    /// It did not start and was only discharged: jumped, mostly charged, and often tested later.
    pub fn only_discharged(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_some() {
            return;
        }
        let mut job = self.open_call(day, "will not start");
        job.cause = chance(&mut self.rng, 0.7).then_some(OrderCause::Supply);
        job.about = (position > 0).then(|| self.batteries[position].spec.position);
        self.note(job.opened, position, What::OnlyDischarged);
        job.did(Operation::NoStartCall, 0.5);
        job.clock += 20;
        job.did(Operation::JumpStart, 0.3);
        if chance(&mut self.rng, 0.8) {
            self.charge_battery(&mut job, position);
        }
        self.close_job(job);
        // Vehicles with trouble are tested more.
        if self.tests(self.shop().tests_after_trouble, true) {
            self.plan_within(day, 1, 10, Happening::Recheck(position));
        }
    }

    /// A test because of trouble before.
    pub fn recheck(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_some() {
            return;
        }
        let mut job = self.open_job(day, "battery check after a discharge");
        self.test(&mut job, position);
        self.look_at_charging(&mut job, 0.25);
        self.close_job(job);
    }

    /// A shop that looks finds a charging fault with this chance, and mends it.
    pub fn look_at_charging(&mut self, job: &mut Job, finds: f64) {
        let day = day_of(job.clock);
        if self.charging_at_fault(day) && chance(&mut self.rng, finds) {
            job.clock += 60;
            job.did(Operation::Other, 1.4);
            if let Some(fault) = self.charging_fault.as_mut() {
                fault.until_day = Some(day);
            }
        }
    }

    /// The shop's tester on that day; none in a world where all read true.
    pub fn instrument(&self, day: i32) -> Option<&Instrument> {
        self.world.instruments.iter().find(|instrument| {
            instrument.shop == self.depot.shop
                && (instrument.from_day..instrument.until_day).contains(&day)
        })
    }
}
