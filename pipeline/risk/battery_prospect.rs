//! What each thing that can be done about a battery is worth, week by week, by dynamic programming.
//!
//! Money is counted against replacing at once and for nothing but the battery: `value(w)` is what it
//! costs more, or less, to come to week `w` with the old battery still in. Through a week it may fail,
//! which costs `failure - planned`, or it gives a week of service, which is worth what new life costs:
//!
//! ```text
//! hold(w) = q(w) x failure_extra - 7 x cost_per_day x (1 - q(w) / 2) + (1 - q(w)) x value(w + 1)
//! ```
//!
//! (the recursion of optimal replacement; Barlow and Proschan, Mathematical Theory of Reliability, 1965,
//! chapter 4, on weeks). When the vehicle is in for a service anyway, it can be replaced there (0), or
//! tested and then replaced or not. A special visit before that costs a trip and a half-day, which is
//! counted once for the vehicle and is left to `visits`.

use super::stakes::Stakes;
use super::test_value::TestPower;

use trade::calendar::DAYS_A_WEEK;

/// A battery as the plan sees it.
#[derive(Debug, Clone)]
pub struct Battery {
    /// Hazard gathered in each week ahead, if nothing is done.
    pub hazards: Vec<f64>,
    pub stakes: Stakes,
    /// Weeks in which the vehicle is in anyway; 0 is this week.
    pub services: Vec<usize>,
    /// Chance over the horizon, which the answers of a test are held against.
    pub chance: f64,
    pub power: TestPower,
    pub test_cost: f64,
    /// It is never replaced without a test: the record leaves doubt about it.
    pub in_doubt: bool,
}

/// What to do when the battery is at hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AtHand {
    Leave,
    Replace,
    /// Test, then replace where it proves worse than [`even_factor`].
    Test,
}

/// What doing the best in a week means, against replacing at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Act {
    pub value: f64,
    pub what: AtHand,
    /// Chance that it is replaced then.
    pub replaced: f64,
}

/// What can be done about one battery, and what that is worth.
#[derive(Debug, Clone)]
pub struct Prospect {
    /// What it saves to have the vehicle in, in that week, against leaving it until the next service;
    /// before the visit's cost. Ends at that service.
    pub gains: Vec<f64>,
    /// What would be done in that week.
    pub acts: Vec<Act>,
    /// The next service, and what is done there.
    pub at_service: Option<(usize, Act)>,
}

impl Prospect {
    /// Of a battery about which nothing is to be decided.
    pub fn none() -> Self {
        Self {
            gains: Vec::new(),
            acts: Vec::new(),
            at_service: None,
        }
    }
}

/// The values of coming to each week, the hazard greater by a factor and only services used; the last is
/// for after the last week.
fn values(battery: &Battery, factor: f64) -> Vec<f64> {
    let weeks = battery.hazards.len();
    let mut values = vec![0.0; weeks + 1];
    for week in (0..weeks).rev() {
        let held = hold(battery, factor, week, values[week + 1]);
        values[week] = match battery.services.contains(&week) {
            true => held.min(0.0),
            false => held,
        };
    }
    values
}

fn hold(battery: &Battery, factor: f64, week: usize, after: f64) -> f64 {
    let chance = -(-battery.hazards[week] * factor).exp_m1();
    battery.stakes.saving(chance, DAYS_A_WEEK) + (1.0 - chance) * after
}

/// A battery with what holding on would be worth after each answer of a test.
struct Answered<'a> {
    battery: &'a Battery,
    by_answer: Vec<(f64, Vec<f64>)>,
}

impl<'a> Answered<'a> {
    fn new(battery: &'a Battery) -> Self {
        let (factors, _) = battery.power.factors(battery.chance);
        let by_answer = factors.map(|factor| (factor, values(battery, factor)));
        Self {
            battery,
            by_answer: by_answer.into(),
        }
    }

    /// The best that can be done with the battery at hand in a week, where holding on is worth `held`.
    fn act(&self, week: usize, held: f64) -> Act {
        let leave = Act {
            value: held,
            what: AtHand::Leave,
            replaced: 0.0,
        };
        if self.battery.stakes.failure_extra <= 0.0 {
            return leave;
        }
        let after: Vec<f64> = self
            .by_answer
            .iter()
            .map(|(factor, values)| hold(self.battery, *factor, week, values[week + 1]))
            .collect();
        let answers = after.len() as f64;
        let kept: f64 = after.iter().map(|held| held.min(0.0)).sum();
        let test = Act {
            value: self.battery.test_cost + kept / answers,
            what: AtHand::Test,
            replaced: after.iter().filter(|held| **held > 0.0).count() as f64 / answers,
        };
        let replace = Act {
            value: 0.0,
            what: AtHand::Replace,
            replaced: 1.0,
        };
        match self.battery.in_doubt {
            // A test is made where it would be replaced, whatever is thought of it now.
            true if held > 0.0 || test.value < held => test,
            true => leave,
            false if test.value < held.min(0.0) => test,
            false if held > 0.0 => replace,
            false => leave,
        }
    }
}

/// The factor on the hazard, against what is thought of it now, at which holding on from that week and
/// replacing are worth the same: a test that finds more than that means replace.
pub fn even_factor(battery: &Battery, week: usize) -> f64 {
    let (mut low, mut high) = (-7.0_f64, 7.0_f64);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        let factor = middle.exp();
        let after = values(battery, factor).get(week + 1).copied();
        match hold(battery, factor, week, after.unwrap_or(0.0)) > 0.0 {
            true => high = middle,
            false => low = middle,
        }
    }
    (0.5 * (low + high)).exp()
}

/// Everything that can be done in the first so many weeks.
pub fn prospect(battery: &Battery, weeks: usize) -> Prospect {
    let next_service = battery.services.first().copied();
    let answered = Answered::new(battery);
    // The value of coming to each week where at the next service the best is done. What a test would bring
    // at those beyond it is not counted: it is small.
    let mut values = values(battery, 1.0);
    let at_service = next_service
        .filter(|service| *service < battery.hazards.len())
        .map(|service| {
            let held = hold(battery, 1.0, service, values[service + 1]);
            (service, answered.act(service, held))
        });
    if let Some((service, act)) = &at_service {
        values[*service] = act.value;
        for week in (0..*service).rev() {
            values[week] = hold(battery, 1.0, week, values[week + 1]);
        }
    }
    let last = next_service.map_or(weeks, |service| service.min(weeks));
    let (mut gains, mut acts) = (Vec::new(), Vec::new());
    let (mut surviving, mut so_far) = (1.0, 0.0);
    for week in 0..last.min(battery.hazards.len()) {
        let act = answered.act(week, values[week]);
        gains.push(values[0] - (so_far + surviving * act.value));
        acts.push(act);
        let chance = -(-battery.hazards[week]).exp_m1();
        so_far += surviving * battery.stakes.saving(chance, DAYS_A_WEEK);
        surviving *= 1.0 - chance;
    }
    Prospect {
        gains,
        acts,
        at_service: at_service.filter(|(service, _)| *service < weeks),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A battery with the same chance each week, new life at 7 a week, a failure dearer by 700, and a test
    /// that tells nothing.
    fn battery(weekly_chance: f64, services: &[usize]) -> Battery {
        Battery {
            hazards: vec![-(-weekly_chance).ln_1p(); 30],
            stakes: Stakes {
                failure_extra: 700.0,
                cost_per_day: 1.0,
            },
            services: services.to_vec(),
            chance: 1.0 - (1.0 - weekly_chance).powi(8),
            power: TestPower {
                lost: 0.4,
                sd: 0.0,
                slope: 1.5,
            },
            test_cost: 18.0,
            in_doubt: false,
        }
    }

    #[test]
    fn a_service_in_three_weeks_against_a_visit_now() {
        // A chance of 3 % a week. Through one week: 0.03 x 700 - 7 x 0.985 = 21 - 6.895 = 14.105.
        // At the service in week 3 it is replaced (value 0), so coming there costs
        // 14.105 x (1 + 0.97 + 0.97^2) = 14.105 x 2.9109 = 41.058: what a visit this week saves
        // before the trip. A trip of 45 is too dear, one of 30 is not.
        let prospect = prospect(&battery(0.03, &[3]), 13);
        assert!((prospect.gains[0] - 14.105 * 2.9109).abs() < 1e-9);
        // A week later the first week's risk has been run: 14.105 x (0.97 + 0.9409) = 26.953.
        assert!((prospect.gains[1] - 14.105 * 1.9109).abs() < 1e-9);
        assert_eq!(prospect.gains.len(), 3);
        let (service, act) = prospect.at_service.expect("within 13 weeks");
        assert_eq!((service, act.what, act.replaced), (3, AtHand::Replace, 1.0));
    }

    #[test]
    fn a_battery_that_gives_more_than_it_risks_is_left() {
        // 0.5 % a week: 3.5 of risk against 7 x 0.9975 = 6.9825 of service.
        let prospect = prospect(&battery(0.005, &[3]), 13);
        assert!(
            prospect.gains.iter().all(|gain| *gain <= 1e-9),
            "{:?}",
            prospect.gains
        );
        assert_eq!(prospect.at_service.expect("due").1.what, AtHand::Leave);
    }

    #[test]
    fn what_is_in_doubt_is_tested_and_never_simply_replaced() {
        let mut doubtful = battery(0.03, &[3]);
        doubtful.in_doubt = true;
        let prospect = prospect(&doubtful, 13);
        for act in prospect
            .acts
            .iter()
            .chain([&prospect.at_service.expect("due").1])
        {
            assert!(act.what == AtHand::Test, "{act:?}");
        }
    }

    #[test]
    fn a_test_that_tells_parts_those_to_replace_from_those_to_keep() {
        // Coming to the service costs as much as it is worth: 1 % a week is 7 of risk against 6.965.
        let mut open = battery(0.01, &[3, 20]);
        open.power.sd = 0.15;
        let prospect = prospect(&open, 13);
        let (_, act) = prospect.at_service.expect("due");
        assert_eq!(act.what, AtHand::Test);
        assert!((0.3..0.7).contains(&act.replaced), "{act:?}");
        // Even where 700 q = 7 (1 - q / 2), so at the hazard of 0.995 %, about what is thought.
        let even = even_factor(&open, 3);
        assert!((even - 1.0).abs() < 0.1, "{even}");
        assert!(act.value < 0.0);
    }

    #[test]
    fn where_a_failure_is_no_dearer_it_runs_to_failure() {
        let mut cheap = battery(0.2, &[3]);
        cheap.stakes.failure_extra = -50.0;
        cheap.in_doubt = true;
        let prospect = prospect(&cheap, 13);
        assert!(prospect.gains.iter().all(|gain| *gain <= 1e-9));
        assert_eq!(prospect.at_service.expect("due").1.what, AtHand::Leave);
    }
}
