//! Which vehicles a depot calls in in each of the coming weeks, within its bays and its budget.
//!
//! Batteries of one vehicle share a visit. What has failed comes first; vehicles that are in for a service
//! need no bay of the plan's, but their batteries cost money; of the rest each week takes the visits that
//! save most ([`best_choice`]), and what does not fit goes to the next week, where it is worth what it
//! then still saves. A visit that is worth more in a later week waits for it.

use std::collections::BTreeMap;

use super::battery_prospect::{Act, AtHand, Prospect};
use super::knapsack::{Item, best_choice};

/// A depot's week.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    pub bays: usize,
    pub budget: f64,
    pub tests: usize,
    /// What a special visit costs beside what is done.
    pub special_visit: f64,
    /// A special visit that saves less is not asked for.
    pub least_saving: f64,
}

/// A battery of the depot.
#[derive(Debug, Clone)]
pub struct Candidate<'a> {
    pub vehicle: &'a str,
    /// It has failed and is replaced whatever the plan says.
    pub failed: bool,
    pub planned_cost: f64,
    pub prospect: Prospect,
}

/// When and how a battery is seen to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned {
    /// 0 is this week.
    pub week: usize,
    pub special: bool,
    pub act: Act,
    /// Visits of the depot are numbered from 0 in the order of weeks.
    pub visit: usize,
}

/// A battery's place in the plan.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Outcome {
    pub planned: Option<Planned>,
    /// It would have been seen to this week, had there been room.
    pub waits: bool,
    /// What a visit this week would save, its share of the visit's cost taken off.
    pub saving: Option<f64>,
}

/// What has failed is replaced.
const REPLACE_FAILED: Act = Act {
    value: 0.0,
    what: AtHand::Replace,
    replaced: 1.0,
};

/// The plan of one depot for so many weeks; an outcome for each candidate, in their order.
pub fn plan(candidates: &[Candidate<'_>], limits: Limits, weeks: usize) -> Vec<Outcome> {
    let mut vehicles: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (at, candidate) in candidates.iter().enumerate() {
        vehicles.entry(candidate.vehicle).or_default().push(at);
    }
    let mut depot = Depot {
        candidates,
        limits,
        outcomes: vec![Outcome::default(); candidates.len()],
        visits: 0,
    };
    depot.savings_now(&vehicles);
    for week in 0..weeks {
        depot.fill(week, weeks, &vehicles);
    }
    depot.outcomes
}

struct Depot<'a> {
    candidates: &'a [Candidate<'a>],
    limits: Limits,
    outcomes: Vec<Outcome>,
    visits: usize,
}

/// What a vehicle's special visit in a week would do and bring.
struct Visit {
    batteries: Vec<usize>,
    value: f64,
    cost: f64,
    tested: bool,
}

impl Depot<'_> {
    fn fill(&mut self, week: usize, weeks: usize, vehicles: &BTreeMap<&str, Vec<usize>>) {
        let (mut bays, mut budget) = (self.limits.bays, self.limits.budget);
        let mut tests = self.limits.tests;
        if week == 0 {
            for of_vehicle in vehicles.values() {
                let failed = |at: &usize| self.candidates[*at].failed;
                if !of_vehicle.iter().any(failed) {
                    continue;
                }
                // Whoever is in has its other batteries seen to.
                let visit = self.visit(week, of_vehicle);
                let mut batteries = visit.batteries;
                batteries.extend(of_vehicle.iter().copied().filter(failed));
                budget -= self.book(week, true, &batteries);
                bays = bays.saturating_sub(1);
            }
        }
        for of_vehicle in vehicles.values() {
            let due: Vec<usize> = of_vehicle
                .iter()
                .copied()
                .filter(|at| {
                    let due = self.candidates[*at].prospect.at_service;
                    due.is_some_and(|(service, act)| service == week && act.what != AtHand::Leave)
                        && self.outcomes[*at].planned.is_none()
                })
                .collect();
            if !due.is_empty() {
                budget -= self.book(week, false, &due);
            }
        }
        let mut offers: Vec<Visit> = vehicles
            .values()
            .map(|of_vehicle| (of_vehicle, self.visit(week, of_vehicle)))
            .filter(|(of_vehicle, visit)| {
                let later = (week + 1..weeks).map(|later| self.visit(later, of_vehicle).value);
                visit.value >= self.limits.least_saving.max(f64::MIN_POSITIVE)
                    && later.fold(f64::NEG_INFINITY, f64::max) <= visit.value
            })
            .map(|(_, visit)| visit)
            .collect();
        offers.sort_by(|a, b| {
            b.value
                .total_cmp(&a.value)
                .then(a.batteries.cmp(&b.batteries))
        });
        if week == 0 {
            for at in offers.iter().flat_map(|visit| &visit.batteries) {
                self.outcomes[*at].waits = true;
            }
        }
        offers.retain(|visit| {
            let room = !visit.tested || tests > 0;
            tests -= usize::from(visit.tested && room);
            room
        });
        let items: Vec<Item> = offers
            .iter()
            .map(|visit| Item {
                cost: visit.cost,
                value: visit.value,
            })
            .collect();
        for at in best_choice(&items, bays, budget) {
            self.book(week, true, &offers[at].batteries);
        }
    }

    /// What a special visit of the vehicle in that week would do for its batteries that have no place yet.
    fn visit(&self, week: usize, of_vehicle: &[usize]) -> Visit {
        let gain = |at: &usize| self.candidates[*at].prospect.gains.get(week).copied();
        let batteries: Vec<usize> = of_vehicle
            .iter()
            .copied()
            .filter(|at| {
                let open = self.outcomes[*at].planned.is_none() && !self.candidates[*at].failed;
                open && self.act(week, *at).what != AtHand::Leave
                    && gain(at).is_some_and(|gain| gain > 0.0)
            })
            .collect();
        let gained: f64 = batteries.iter().filter_map(gain).sum();
        Visit {
            value: gained - self.limits.special_visit,
            cost: batteries
                .iter()
                .map(|at| self.candidates[*at].planned_cost)
                .sum(),
            tested: batteries
                .iter()
                .any(|at| self.act(week, *at).what == AtHand::Test),
            batteries,
        }
    }

    fn act(&self, week: usize, at: usize) -> Act {
        const LEAVE: Act = Act {
            value: 0.0,
            what: AtHand::Leave,
            replaced: 0.0,
        };
        let acts = &self.candidates[at].prospect.acts;
        acts.get(week).copied().unwrap_or(LEAVE)
    }

    /// Puts a visit into the plan, and gives what its batteries cost.
    fn book(&mut self, week: usize, special: bool, batteries: &[usize]) -> f64 {
        let visit = self.visits;
        self.visits += 1;
        let mut cost = 0.0;
        for &at in batteries {
            let candidate = &self.candidates[at];
            let act = match (candidate.failed, special, candidate.prospect.at_service) {
                (true, ..) => REPLACE_FAILED,
                (_, false, Some((_, act))) => act,
                _ => self.act(week, at),
            };
            cost += candidate.planned_cost;
            self.outcomes[at].waits &= week > 0;
            self.outcomes[at].planned = Some(Planned {
                week,
                special,
                act,
                visit,
            });
        }
        cost
    }

    fn savings_now(&mut self, vehicles: &BTreeMap<&str, Vec<usize>>) {
        for of_vehicle in vehicles.values() {
            let called = self.visit(0, of_vehicle).batteries;
            for &at in of_vehicle {
                let candidate = &self.candidates[at];
                let Some(gain) = candidate.prospect.gains.first() else {
                    continue;
                };
                let sharing = match called.contains(&at) {
                    true => called.len(),
                    false => called.len() + 1,
                };
                self.outcomes[at].saving = Some(gain - self.limits.special_visit / sharing as f64);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: Limits = Limits {
        bays: 1,
        budget: 1_000.0,
        tests: 10,
        special_visit: 40.0,
        least_saving: 5.0,
    };

    /// A battery whose replacement saves so much in each week, before the visit.
    fn worn<'a>(vehicle: &'a str, gains: &[f64]) -> Candidate<'a> {
        Candidate {
            vehicle,
            failed: false,
            planned_cost: 200.0,
            prospect: Prospect {
                gains: gains.to_vec(),
                acts: vec![REPLACE_FAILED; gains.len()],
                at_service: None,
            },
        }
    }

    fn weeks_of(candidates: &[Candidate<'_>], limits: Limits) -> Vec<Option<usize>> {
        let outcomes = plan(candidates, limits, 13);
        outcomes
            .iter()
            .map(|outcome| Some(outcome.planned?.week))
            .collect()
    }

    #[test]
    fn two_batteries_and_one_bay() {
        // The first saves 90 - 40 this week, the second 70 - 40. There is one bay: the first goes now, and
        // the second next week, when it still saves 60 - 40.
        let candidates = [
            worn("A", &[90.0, 75.0, 60.0]),
            worn("B", &[70.0, 60.0, 50.0]),
        ];
        let outcomes = plan(&candidates, LIMITS, 13);
        assert_eq!(weeks_of(&candidates, LIMITS), [Some(0), Some(1)]);
        assert_eq!(outcomes[0].saving, Some(50.0));
        assert_eq!((outcomes[0].waits, outcomes[1].waits), (false, true));
    }

    #[test]
    fn batteries_of_one_vehicle_share_a_visit() {
        // 30 each would not pay a visit of 40; 60 together do, by 20, and take one bay.
        let apart = [worn("A", &[30.0]), worn("B", &[30.0])];
        assert_eq!(weeks_of(&apart, LIMITS), [None, None]);
        let together = [worn("A", &[30.0]), worn("A", &[30.0])];
        let outcomes = plan(&together, LIMITS, 13);
        let visits: Vec<_> = outcomes
            .iter()
            .map(|o| o.planned.map(|p| (p.week, p.visit)))
            .collect();
        assert_eq!(visits, [Some((0, 0)), Some((0, 0))]);
        assert_eq!(outcomes[0].saving, Some(10.0));
    }

    #[test]
    fn what_is_due_soon_is_not_called_in_before() {
        // A visit now saves 30 against the service in week 3: less than the 40 it costs.
        let mut due = worn("A", &[30.0, 20.0, 10.0]);
        due.prospect.at_service = Some((3, REPLACE_FAILED));
        let outcome = plan(&[due.clone()], LIMITS, 13)[0];
        let planned = outcome.planned.expect("at the service");
        assert_eq!((planned.week, planned.special), (3, false));
        assert_eq!(outcome.saving, Some(-10.0));
        // Were the trip and the half-day to cost 20, it would be called in.
        let near = Limits {
            special_visit: 20.0,
            ..LIMITS
        };
        assert_eq!(weeks_of(&[due], near), [Some(0)]);
    }

    #[test]
    fn a_visit_that_saves_little_is_not_asked_for() {
        // 44 - 40 = 4 is below the least saving of 5; 45 - 40 is not.
        assert_eq!(weeks_of(&[worn("A", &[44.0])], LIMITS), [None]);
        assert_eq!(weeks_of(&[worn("A", &[45.0])], LIMITS), [Some(0)]);
    }

    #[test]
    fn a_visit_worth_more_later_waits_for_it() {
        // Winter comes in the third week.
        assert_eq!(
            weeks_of(&[worn("A", &[50.0, 60.0, 80.0, 70.0])], LIMITS),
            [Some(2)]
        );
    }

    #[test]
    fn what_has_failed_comes_first_and_its_vehicles_other_battery_with_it() {
        let mut failed = worn("A", &[0.0]);
        failed.failed = true;
        let candidates = [worn("B", &[500.0, 400.0]), failed, worn("A", &[5.0])];
        let outcomes = plan(&candidates, LIMITS, 13);
        assert_eq!(weeks_of(&candidates, LIMITS), [Some(1), Some(0), Some(0)]);
        let visit = |at: usize| outcomes[at].planned.expect("planned").visit;
        assert_eq!(visit(1), visit(2));
    }

    #[test]
    fn a_week_spends_no_more_than_its_budget() {
        let candidates = [
            worn("A", &[90.0, 80.0]),
            worn("B", &[80.0, 70.0]),
            worn("C", &[70.0, 60.0]),
        ];
        let limits = Limits {
            bays: 5,
            budget: 450.0,
            ..LIMITS
        };
        assert_eq!(weeks_of(&candidates, limits), [Some(0), Some(0), Some(1)]);
    }
}
