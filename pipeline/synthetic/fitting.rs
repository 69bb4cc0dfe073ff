//! What a vehicle is built with and what is put into it: its batteries, and what it asks of them.
//!
//! Nothing here fails.

use super::habits::Habit;
use super::life::{Fitted, Life};
use super::models::BatterySpec;
use super::streams::{chance, normal, whole};
use super::wear::{self, Hidden};
use super::worlds::{BAD_SHARE, Traits, second_battery};

impl Life {
    /// What the vehicle asks of its batteries, in worlds where that differs.
    pub fn draw_traits(&mut self) {
        if let Some(law) = self.world.law {
            let (seed, share) = (self.world.scenario.seed, self.world.scenario.tested_share);
            let spec = self.model.spec;
            let coldest_c = self.world.weather.usual_coldest_c(self.vehicle.depot);
            let (traits, fault) = Traits::draw(law, seed, &self.vehicle, spec, coldest_c, share);
            (self.traits, self.charging_fault) = (Some(traits), fault);
        }
    }

    /// The batteries the vehicle is built with: the model's own, and a second in a world of two where
    /// the shop's records can tell places apart.
    pub fn fittings(&self) -> Vec<&'static BatterySpec> {
        let mut fittings: Vec<&'static BatterySpec> = self.model.spec.batteries.iter().collect();
        let unnamed = self.shows_habit(Habit::UnnamedAuxiliaries);
        let two = unnamed || self.world.law.is_some_and(|law| law.two_batteries);
        if two && fittings.len() == 1 && self.shop().names_places {
            fittings.push(second_battery(&self.vehicle));
        }
        fittings
    }

    /// A battery fresh from the shelf.
    pub fn new_battery(&mut self, spec: &'static BatterySpec, day: i32) -> Fitted {
        let law = self.world.law;
        let spread = law.map_or(wear::FRAILTY_LOG_DEVIATION, |law| law.battery_spread);
        let spread = self.world.scenario.pace_spread.unwrap_or(spread);
        let rng = &mut self.rng;
        let mut hidden = Hidden {
            chemistry: spec.chemistry,
            frailty: (normal(rng, 0.0, spread)).exp(),
            first_health: normal(rng, 1.05, 0.02).clamp(0.96, 1.15),
            wear: 0.0,
            charge: 0.92,
            steps: 0.0,
            loss: law.map_or(wear::SMOOTH_LOSS, |law| law.loss),
            bad_batch: false,
        };
        let made_day = day - whole(rng, 14, 130) as i32;
        let batches = &self.world.batches;
        if let Some((pace, _)) = law.and_then(|law| law.bad_batch)
            && batches
                .iter()
                .any(|batch| batch.holds(spec.chemistry, made_day))
            && chance(rng, BAD_SHARE)
        {
            hidden.bad_batch = true;
            hidden.frailty *= pace;
        }
        Fitted {
            spec,
            hidden,
            installed_day: day,
            made_day,
            hazard: 0.0,
            without_warning: false,
            failed: None,
            failed_at: None,
            last_reading: None,
        }
    }
}
