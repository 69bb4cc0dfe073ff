//! What to do about each battery of a depot in the coming weeks, and what that is worth.

use std::collections::HashMap;

use serde::Deserialize;

use super::season::Seasons;
use risk::battery_prospect::{AtHand, Battery, Prospect, even_factor, prospect};
use risk::stakes::Stakes;
use risk::stored_model::StoredModel;
use risk::test_value::TestPower;
use risk::visits::{self, Candidate, Limits, Outcome};
use risk::weeks_ahead::{Growth, weekly_hazards};
use settings::Settings;
use trade::calendar::DAYS_A_WEEK;

/// Weeks that visits are planned for, and weeks looked ahead to value what is left.
pub const WEEKS: usize = 13;
pub const OUTLOOK_WEEKS: usize = 52;

/// A battery in service with its chance, its prices and its vehicle's next service.
#[derive(Debug, Deserialize)]
pub struct RankedBattery {
    pub vin: String,
    pub position: String,
    pub depot: String,
    failed: bool,
    chance: f64,
    planned_cost: f64,
    cost_per_day: f64,
    cost_per_day_failure_half: f64,
    cost_per_day_failure_double: f64,
    due_in_days: Option<f64>,
    usual_gap_days: Option<f64>,
}

/// What is known of a battery beyond its rank: of its health, its last test.
#[derive(Debug, Clone, Copy)]
pub struct Known {
    pub health: f64,
    pub age_days: f64,
    /// How far a reading is spread about what is expected.
    pub reading_sd: f64,
    /// The power of its lost ability that its hazard grows with.
    pub worn: f64,
    pub test: TestPower,
    pub in_doubt: bool,
}

/// What all depots' plans rest on.
pub struct Ground {
    pub settings: Settings,
    pub model: StoredModel,
    pub known: HashMap<(String, String), Known>,
    pub seasons: Seasons,
}

/// A battery's place in its depot's plan.
pub struct PlacedBattery {
    pub outcome: Outcome,
    /// What a visit this week would save were a failure to cost half, and double.
    pub saving_failure_half: Option<f64>,
    pub saving_failure_double: Option<f64>,
    pub pays_from: Option<f64>,
    pub keep_at: Option<f64>,
    pub in_doubt: bool,
    /// For each week of the plan, the chance of failing in it if nothing is done.
    pub fails_in_week: Vec<f64>,
}

impl Ground {
    /// The plan of one depot, its batteries in their order.
    pub fn plan(&self, depot: &[RankedBattery]) -> Vec<PlacedBattery> {
        let batteries: Vec<Battery> = depot.iter().map(|ranked| self.battery(ranked)).collect();
        let candidates: Vec<Candidate<'_>> = depot
            .iter()
            .zip(&batteries)
            .map(|(ranked, battery)| Candidate {
                vehicle: &ranked.vin,
                failed: ranked.failed,
                planned_cost: ranked.planned_cost,
                prospect: match ranked.failed {
                    true => Prospect::none(),
                    false => prospect(battery, WEEKS),
                },
            })
            .collect();
        let outcomes = visits::plan(&candidates, self.limits(&depot[0].depot), WEEKS);
        let each = depot.iter().zip(&batteries).zip(outcomes);
        each.map(|((ranked, battery), outcome)| self.placed(ranked, battery, outcome))
            .collect()
    }

    fn limits(&self, depot: &str) -> Limits {
        let week = self.settings.plan.week_limits(depot);
        Limits {
            bays: week.bays,
            budget: week.budget,
            tests: week.tests,
            special_visit: self.settings.cost.special_visit(),
            least_saving: self.settings.plan.least_saving,
        }
    }

    fn placed(&self, ranked: &RankedBattery, battery: &Battery, outcome: Outcome) -> PlacedBattery {
        let tested = outcome.planned.filter(|p| p.act.what == AtHand::Test);
        let saving_if = |times, cost_per_day| self.saving_if(ranked, battery, times, cost_per_day);
        PlacedBattery {
            outcome,
            saving_failure_half: saving_if(0.5, ranked.cost_per_day_failure_half),
            saving_failure_double: saving_if(2.0, ranked.cost_per_day_failure_double),
            pays_from: battery.stakes.pays_from(self.horizon_days()),
            keep_at: tested
                .and_then(|planned| Some(keep_at(battery, planned.week, self.known(ranked)?))),
            in_doubt: battery.in_doubt,
            fails_in_week: fails_in_week(ranked, battery),
        }
    }

    fn horizon_days(&self) -> f64 {
        self.settings.run.horizon_days as f64
    }

    fn known(&self, ranked: &RankedBattery) -> Option<&Known> {
        self.known
            .get(&(ranked.vin.clone(), ranked.position.clone()))
    }

    fn stakes(&self, ranked: &RankedBattery, failure_times: f64, cost_per_day: f64) -> Stakes {
        let failure = self.settings.cost.unplanned_failure * failure_times;
        Stakes {
            failure_extra: failure - ranked.planned_cost,
            cost_per_day,
        }
    }

    fn battery(&self, ranked: &RankedBattery) -> Battery {
        let known = self.known(ranked);
        let growth = Growth {
            lost: known.map_or(0.0, |known| known.test.lost),
            age_days: known.map_or(0.0, |known| known.age_days),
            slope: known.map_or(0.0, |known| known.worn),
            alike: self.model.alike.hazard,
        };
        let season = self
            .seasons
            .factors(&ranked.depot, growth.lost, &self.model);
        let season = season.unwrap_or_else(|| vec![1.0; OUTLOOK_WEEKS]);
        Battery {
            hazards: weekly_hazards(ranked.chance, self.horizon_days(), growth, &season),
            stakes: self.stakes(ranked, 1.0, ranked.cost_per_day),
            services: services(ranked),
            chance: ranked.chance,
            power: known.map_or(TestPower::NONE, |known| known.test),
            test_cost: self.settings.cost.battery_test,
            in_doubt: known.is_none_or(|known| known.in_doubt),
        }
    }

    /// What a special visit this week would save were a failure to cost so many times as much.
    fn saving_if(
        &self,
        ranked: &RankedBattery,
        battery: &Battery,
        times: f64,
        cost_per_day: f64,
    ) -> Option<f64> {
        let battery = Battery {
            stakes: self.stakes(ranked, times, cost_per_day),
            ..battery.clone()
        };
        let prospect = prospect(&battery, 1);
        let gain = prospect.gains.first().filter(|_| !ranked.failed)?;
        Some(gain - self.settings.cost.special_visit())
    }
}

/// Weeks of the services that are expected, 0 this week.
pub fn services(ranked: &RankedBattery) -> Vec<usize> {
    let Some(due) = ranked.due_in_days.filter(|due| *due >= 0.0) else {
        return Vec::new();
    };
    let gap = ranked
        .usual_gap_days
        .unwrap_or(f64::INFINITY)
        .max(DAYS_A_WEEK);
    (0..)
        .map(|nth| due + f64::from(nth) * gap)
        .take_while(|days| *days < OUTLOOK_WEEKS as f64 * DAYS_A_WEEK)
        .map(|days| (days / DAYS_A_WEEK) as usize)
        .collect()
}

/// The reading, as a share of the rating, from which the battery is kept.
fn keep_at(battery: &Battery, week: usize, known: &Known) -> f64 {
    let (_, scale) = battery.power.factors(battery.chance);
    let even = even_factor(battery, week) / scale;
    let (mut low, mut high) = (-4.0, 4.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        match battery.power.factor(middle) > even {
            true => high = middle,
            false => low = middle,
        }
    }
    (known.health - known.reading_sd * 0.5 * (low + high)).clamp(0.0, 1.0)
}

fn fails_in_week(ranked: &RankedBattery, battery: &Battery) -> Vec<f64> {
    let mut surviving = if ranked.failed { 0.0 } else { 1.0 };
    let weeks = battery.hazards.iter().take(WEEKS).map(|hazard| {
        let fails = surviving * -(-hazard).exp_m1();
        surviving -= fails;
        fails
    });
    weeks.collect()
}
