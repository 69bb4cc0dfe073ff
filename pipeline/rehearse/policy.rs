//! The ways of keeping batteries that are compared, and what each asks for in a week.
//!
//! The plain ones see the papers of a fleet as if there were no error in them; their one number is tried
//! at several values, and the best in hindsight is the one told. Nothing here fails.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use settings::Plan;
use synthetic::{OnPaper, Orders, Place, Task, World};
use trade::calendar::DAYS_A_YEAR;

/// A way of keeping a fleet's batteries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Policy {
    /// Nothing is replaced before it fails.
    RunToFailure,
    /// Replaced at the first service beyond this age.
    FixedAge { years: f64 },
    /// Tested at each service, and replaced where the test reads below this share of the rating.
    TestedAtService { share: f64 },
    /// Called in for replacement in the order of the last readings, the lowest first, as far as the bays
    /// reach and the readings lie below this share.
    LastTestFirst { share: f64 },
    /// The weekly report's plan, made from the dumps.
    WeeklyPlan,
    /// Sees what is hidden: called in where the true chance of failing within the horizon reaches this,
    /// the likeliest first, as far as the bays reach; replaced at a service where the true ability is
    /// below this share of the rating.
    SeesTheHidden { chance: f64, ability: f64 },
}

impl Policy {
    /// Every policy, at every value it is tried at.
    pub fn all() -> Vec<Policy> {
        let mut all = vec![Policy::RunToFailure];
        all.extend(
            [2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0].map(|years| Policy::FixedAge { years }),
        );
        let shares = [0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85];
        all.extend(shares.map(|share| Policy::TestedAtService { share }));
        all.extend(shares.map(|share| Policy::LastTestFirst { share }));
        all.push(Policy::WeeklyPlan);
        for ability in [0.6, 0.65, 0.7, 0.75, 0.8] {
            let chances = [0.05, 0.15, 1.0];
            all.extend(chances.map(|chance| Policy::SeesTheHidden { chance, ability }));
        }
        all
    }

    /// What it is called, whatever its number.
    pub fn name(&self) -> &'static str {
        match self {
            Policy::RunToFailure => "run to failure",
            Policy::FixedAge { .. } => "replaced at an age",
            Policy::TestedAtService { .. } => "tested at each service",
            Policy::LastTestFirst { .. } => "lowest last test first",
            Policy::WeeklyPlan => "the weekly plan",
            Policy::SeesTheHidden { .. } => "one who sees the hidden state",
        }
    }

    /// Its number as told.
    pub fn value(&self) -> Option<String> {
        match self {
            Policy::RunToFailure | Policy::WeeklyPlan => None,
            Policy::FixedAge { years } => Some(format!("{years:.1} years")),
            Policy::TestedAtService { share } | Policy::LastTestFirst { share } => {
                Some(format!("below {:.0} %", share * 100.0))
            }
            Policy::SeesTheHidden { chance, ability } => Some(format!(
                "chance {:.0} %, below {:.0} %",
                chance * 100.0,
                ability * 100.0
            )),
        }
    }

    /// What is asked for in the coming week; the weekly plan asks elsewhere.
    pub fn orders(&self, world: &World, plan: &Plan) -> Orders {
        let mut orders = Orders {
            shops_plan: false,
            ..Orders::default()
        };
        match *self {
            Policy::RunToFailure | Policy::WeeklyPlan => {}
            Policy::FixedAge { years } => {
                let papers = world.on_paper().into_iter();
                let old = papers.filter(|battery| battery.age_days > years * DAYS_A_YEAR);
                orders.at_service = old.map(|battery| (battery.place, Task::Replace)).collect();
            }
            Policy::TestedAtService { share } => {
                let papers = world.on_paper().into_iter();
                let tested = papers.map(|battery| (battery.place, Task::ReplaceBelow(share)));
                orders.at_service = tested.collect();
            }
            Policy::LastTestFirst { share } => {
                let papers = world.on_paper().into_iter();
                let read = papers.filter_map(|battery| Some((battery.last_reading?, battery)));
                let mut low: Vec<_> = read.filter(|(reading, _)| *reading < share).collect();
                low.sort_by(|one, other| one.0.total_cmp(&other.0));
                let low = low.into_iter().map(|(_, battery)| battery);
                orders.special = within_bays(low, plan);
            }
            Policy::SeesTheHidden { chance, ability } => {
                let chances: BTreeMap<Place, f64> = match chance < 1.0 {
                    true => world.chances().into_iter().collect(),
                    false => BTreeMap::new(),
                };
                let papers = world.on_paper().into_iter();
                let known = papers.map(|battery| (chances.get(&battery.place).copied(), battery));
                let mut likely: Vec<_> = known
                    .filter(|(found, _)| found.is_some_and(|found| found >= chance))
                    .collect();
                likely.sort_by(|one, other| other.0.partial_cmp(&one.0).unwrap_or(Ordering::Equal));
                orders.special = within_bays(likely.into_iter().map(|(_, battery)| battery), plan);
                let worn = world.abilities().into_iter();
                let worn = worn.filter(|(_, found)| *found < ability);
                orders.at_service = worn.map(|(place, _)| (place, Task::Replace)).collect();
            }
        }
        orders
    }
}

/// The first of them, as far as their depots' bays reach; the batteries of one vehicle share a visit.
fn within_bays(batteries: impl Iterator<Item = OnPaper>, plan: &Plan) -> Vec<(Place, Task)> {
    let mut called: BTreeMap<&'static str, Vec<String>> = BTreeMap::new();
    let mut orders = Vec::new();
    for battery in batteries {
        let vehicles = called.entry(battery.depot).or_default();
        if !vehicles.contains(&battery.place.vin) {
            if vehicles.len() >= plan.week_limits(battery.depot).bays {
                continue;
            }
            vehicles.push(battery.place.vin.clone());
        }
        orders.push((battery.place, Task::Replace));
    }
    orders
}

#[cfg(test)]
mod tests {
    use super::*;

    fn battery(vin: &str, position: &str) -> OnPaper {
        OnPaper {
            place: Place {
                vin: vin.to_owned(),
                position: position.to_owned(),
            },
            depot: "North yard",
            age_days: 1_000.0,
            last_reading: Some(0.5),
        }
    }

    #[test]
    fn two_batteries_of_a_vehicle_take_one_bay() {
        let plan = Plan {
            bays_per_week: 2,
            ..Plan::default()
        };
        let wanted = [
            battery("A", "main"),
            battery("B", "main"),
            battery("C", "main"),
            battery("A", "auxiliary"),
        ];
        let orders = within_bays(wanted.into_iter(), &plan);
        let vehicles: Vec<&str> = orders.iter().map(|(place, _)| place.vin.as_str()).collect();
        assert_eq!(vehicles, ["A", "B", "A"]);
    }
}
