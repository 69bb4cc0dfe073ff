//! What is done before anything has failed: tests, replacements after bad ones, and at a set age.
//!
//! Nothing here fails.

use super::facts::day_of;
use super::habits::{Habit, Note};
use super::life::{Happening, Life};
use super::streams::chance;
use super::workshop::Job;

impl Life {
    /// Tests every battery; a bad one is planned for replacement.
    pub fn test_all(&mut self, job: &mut Job) {
        for position in 0..self.batteries.len() {
            let reading = self.test(job, position);
            let below = self.world.scenario.replace_below;
            let below = below.unwrap_or(self.shop().replace_below);
            let weak = reading.measured.is_some() && reading.judged_health < below;
            if weak && self.habit(self.shop().acts_on_bad_test) && self.shops_plan {
                let day = day_of(job.clock);
                self.plan_within(day, 3, 25, Happening::Planned(position));
            }
        }
    }

    pub fn autumn_test(&mut self, day: i32) {
        if self.any_failed() {
            return;
        }
        let mut job = self.open_job(day, "battery check before winter");
        self.test_all(&mut job);
        self.close_job(job);
    }

    /// Some planners change main batteries at a set age.
    pub fn age_rule(&mut self, job: &Job) {
        let day = day_of(job.clock);
        let age_years = f64::from(day - self.batteries[0].installed_day) / 365.25;
        let limit = self.world.scenario.replace_at_years;
        if limit
            .or(self.depot.change_age_years)
            .is_some_and(|limit| age_years > limit)
            && chance(&mut self.rng, 0.6)
            && self.shops_plan
        {
            self.plan_within(day, 1, 30, Happening::Planned(0));
        }
    }

    /// Replaces a battery that has not failed and is at least two months old.
    pub fn planned(&mut self, day: i32, position: usize) {
        if self.batteries[position].failed.is_some()
            || day - self.batteries[position].installed_day < 60
        {
            return;
        }
        let mut job = self.open_job(day, "planned battery change");
        self.replace_sound(&mut job, position);
        self.close_job(job);
    }

    pub fn note_habit(
        &mut self,
        habit: Habit,
        position: usize,
        job: &Job,
        told: &str,
        truly: &str,
    ) {
        self.notes.push(Note {
            habit,
            position: Some(self.batteries[position].spec.position),
            at: job.opened,
            id: job.order_no.clone(),
            told: told.to_owned(),
            truly: truly.to_owned(),
        });
    }
}
