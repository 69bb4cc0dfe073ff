//! What is decided from outside for one week, and how a vehicle carries it out.
//!
//! Nothing here fails; an order for a battery that is not there is refused.

use super::facts::day_of;
use super::habits::Habit;
use super::life::{Happening, Life};
use super::workshop::Job;

/// A battery's place in the fleet.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    pub vin: String,
    pub position: String,
}

/// What is to be done with a battery that has not failed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Task {
    Replace,
    Test,
    /// Test it, and replace it where it reads below this share of its rating; one that gives no reading
    /// is kept.
    ReplaceBelow(f64),
}

/// What is decided from outside for one week.
#[derive(Debug, Clone, PartialEq)]
pub struct Orders {
    /// Vehicles called in within the week; the batteries of one share the visit.
    pub special: Vec<(Place, Task)>,
    /// What is done with a vehicle that is in for its service in the week.
    pub at_service: Vec<(Place, Task)>,
    /// Whether the shops go on planning replacements by their own rules: bad tests and ages.
    pub shops_plan: bool,
}

impl Default for Orders {
    /// Nothing from outside: the shops do as they always do.
    fn default() -> Orders {
        Orders {
            special: Vec::new(),
            at_service: Vec::new(),
            shops_plan: true,
        }
    }
}

impl Life {
    /// Forgets what was ordered for the week before.
    pub fn begin_orders(&mut self, shops_plan: bool) {
        self.shops_plan = shops_plan;
        self.called_for.clear();
        self.at_service.clear();
    }

    /// Takes an order for a week that begins on that day; false where the battery is not in the fleet
    /// then.
    pub fn order(&mut self, monday: i32, position: &str, task: Task, special: bool) -> bool {
        let Some(place) = self.place_ordered(monday, position) else {
            return false;
        };
        if !special {
            self.at_service.push((place, task));
            return true;
        }
        if self.called_for.is_empty() {
            self.plan_within(monday, 0, 4, Happening::CalledIn);
        }
        self.called_for.push((place, task));
        true
    }

    fn place_ordered(&self, monday: i32, position: &str) -> Option<usize> {
        let here = self.in_fleet(monday + 6);
        let mut places = self.batteries.iter();
        places
            .position(|battery| battery.spec.position == position)
            .filter(|_| here)
    }

    /// The vehicle comes in because it was called.
    pub fn called_in(&mut self, day: i32) {
        let mut tasks = std::mem::take(&mut self.called_for);
        // What has failed since is repaired anyway.
        tasks.retain(|(place, _)| self.batteries[*place].failed.is_none());
        if tasks.is_empty() {
            return;
        }
        self.special_visits += 1;
        let replaces = tasks.iter().any(|(_, task)| *task == Task::Replace);
        let complaint = match replaces {
            true => "planned battery change, weekly list",
            false => "battery check, weekly list",
        };
        let mut job = self.open_job(day, complaint);
        for (place, task) in tasks {
            self.carry_out(&mut job, place, task);
        }
        self.close_job(job);
    }

    /// What was ordered for the next service.
    pub fn ordered_at_service(&mut self, job: &mut Job) {
        for (place, task) in std::mem::take(&mut self.at_service) {
            self.carry_out(job, place, task);
        }
    }

    fn carry_out(&mut self, job: &mut Job, place: usize, task: Task) {
        match task {
            Task::Replace => self.replace_sound(job, place),
            Task::Test => {
                self.test(job, place);
            }
            Task::ReplaceBelow(limit) => {
                if self
                    .reading_of(job, place)
                    .is_some_and(|share| share < limit)
                {
                    self.replace_battery(job, place);
                }
            }
        }
    }

    /// What the battery reads on this visit, a share of its rating.
    fn reading_of(&mut self, job: &mut Job, place: usize) -> Option<f64> {
        let today = day_of(job.clock);
        match self.batteries[place].last_reading {
            Some((day, share)) if day == today => Some(share),
            _ => {
                let reading = self.test(job, place);
                reading.measured.map(|_| reading.judged_health)
            }
        }
    }

    /// Replaces a battery that has not failed.
    pub fn replace_sound(&mut self, job: &mut Job, place: usize) {
        let sound = self.batteries[place].hidden.health() > 0.65;
        if sound && self.shows_habit(Habit::FitTestSameMorning) {
            self.test(job, place);
            let told = "tested fit, then changed";
            self.note_habit(Habit::FitTestSameMorning, place, job, told, "planned");
        }
        self.replace_battery(job, place);
    }
}
