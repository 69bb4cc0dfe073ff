//! What a policy did to a fleet, and what that cost.
//!
//! Every policy pays the same prices: a failure, a planned replacement, a test and a special visit cost
//! what the settings say. A failure's price holds its replacement. Nothing here fails.

use settings::Cost;
use synthetic::{Week, What};
use trade::calendar::{DAYS_A_WEEK, DAYS_A_YEAR};

const WEEKS_A_YEAR: f64 = DAYS_A_YEAR / DAYS_A_WEEK;

/// Counts and money of one fleet under one policy.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Ledger {
    pub vehicle_weeks: u64,
    pub failures: u64,
    /// Replacements of batteries that had not failed.
    pub replacements: u64,
    pub tests: u64,
    pub special_visits: u64,
    /// Orders for batteries that are not in the fleet.
    pub refused: u64,
    pub cost: f64,
}

impl Ledger {
    /// Adds a week.
    pub fn add(&mut self, week: &Week, prices: &Cost) {
        self.vehicle_weeks += week.vehicles as u64;
        self.special_visits += week.special_visits;
        self.refused += week.refused.len() as u64;
        self.cost += week.special_visits as f64 * prices.special_visit();
        for event in &week.happened {
            match event.what {
                What::Failed => {
                    self.failures += 1;
                    self.cost += prices.unplanned_failure;
                }
                What::Tested => {
                    self.tests += 1;
                    self.cost += prices.battery_test;
                }
                What::ReplacedPlanned | What::ReplacedWrongly => {
                    self.replacements += 1;
                    self.cost += prices.planned(Some(event.chemistry.as_str()));
                }
                What::ReplacedFailed | What::OnlyDischarged => {}
            }
        }
    }

    /// How much of `count` there was in a vehicle's year.
    pub fn a_vehicle_year(&self, count: f64) -> f64 {
        match self.vehicle_weeks {
            0 => 0.0,
            weeks => count / (weeks as f64 / WEEKS_A_YEAR),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use chrono::NaiveDate;
    use synthetic::BatteryEvent;
    use trade::words::Chemistry;

    #[test]
    fn each_thing_done_costs_what_the_settings_say() {
        let day = NaiveDate::from_ymd_opt(2026, 1, 7).expect("a date");
        let happened = |what| BatteryEvent {
            vin: "G".to_owned(),
            position: "main".to_owned(),
            chemistry: Chemistry::Flooded,
            day,
            what,
            order_no: String::new(),
            parts_cost: 0.0,
        };
        let week = Week {
            first_day: day,
            last_day: day,
            dumps: BTreeMap::new(),
            happened: [
                What::Failed,
                What::ReplacedFailed,
                What::Tested,
                What::Tested,
                What::ReplacedPlanned,
            ]
            .map(happened)
            .to_vec(),
            refused: Vec::new(),
            vehicles: 10,
            special_visits: 1,
        };
        let prices = Cost {
            planned_replacement: 200.0,
            planned_by_chemistry: BTreeMap::new(),
            unplanned_failure: 1_000.0,
            battery_test: 20.0,
            special_visit_trip: 10.0,
            special_visit_half_day: 5.0,
            ..Cost::default()
        };
        let mut ledger = Ledger::default();
        ledger.add(&week, &prices);
        // 1,000 for the failure, whose battery is in that price; 2 x 20 for tests; 200 for the planned
        // one; 10 + 5 for the visit.
        assert_eq!(ledger.cost, 1_255.0);
        assert_eq!(
            (ledger.failures, ledger.replacements, ledger.tests),
            (1, 1, 2)
        );
        // 10 vehicles for a week are 10 / 52.18 vehicle-years.
        assert!((ledger.a_vehicle_year(ledger.cost) - 1_255.0 / (10.0 / 52.178_571)).abs() < 1e-3);
    }
}
