//! When to replace before failure, and what replacing now saves against waiting.
//!
//! Fails for costs that are not above 0 and for a Weibull law without positive shape and scale.
//! Where the hazard does not rise, or a failure costs no more than a planned replacement, there is
//! no best age and the answer is to run to failure.

use super::weibull_law::Weibull;
use crate::distributions::gamma_lower_tail;
use crate::input::{InputError, not_negative, positive};

const MOST_STEPS: usize = 200;

/// The best age to replace at, with its long-run cost per unit of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReplacementPolicy {
    /// `None`: run to failure.
    pub age: Option<f64>,
    pub cost_rate: f64,
    pub run_to_failure_cost_rate: f64,
}

/// What waiting costs against replacing now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SavingNow {
    /// Expected cost of waiting less that of replacing now; negative: better wait.
    pub saving: f64,
    /// Chance of failing while waiting.
    pub failure_chance: f64,
    /// Expected time in service while waiting.
    pub expected_service: f64,
}

fn check(law: &Weibull, planned_cost: f64, failure_cost: f64) -> Result<(), InputError> {
    positive("shape", law.shape)?;
    positive("scale", law.scale)?;
    positive("cost of a planned replacement", planned_cost)?;
    positive("cost of a failure", failure_cost)?;
    Ok(())
}

/// The integral of survival from 0 to `age`: `mean * P(1/shape, (age/scale)^shape)` with the
/// regularised incomplete gamma function.
fn expected_service_to(law: &Weibull, age: f64) -> f64 {
    law.mean() * gamma_lower_tail(1.0 / law.shape, law.cumulative_hazard(age))
}

/// Long-run cost per unit of time of replacing at failure or at `age`, whichever is first:
/// `(planned R(T) + failure F(T)) / integral_0^T R` (Barlow and Proschan, Mathematical Theory of
/// Reliability, 1965, chapter 4).
pub fn age_replacement_cost_rate(
    law: &Weibull,
    planned_cost: f64,
    failure_cost: f64,
    age: f64,
) -> Result<f64, InputError> {
    check(law, planned_cost, failure_cost)?;
    positive("age", age)?;
    let survival = law.survival(age);
    let cost = planned_cost * survival + failure_cost * (1.0 - survival);
    Ok(cost / expected_service_to(law, age))
}

/// The age that minimises the cost rate: the root of
/// `h(T) integral_0^T R - F(T) = planned / (failure - planned)`, whose left side rises with T when
/// the hazard does, by bisection on ln T.
pub fn best_replacement_age(
    law: &Weibull,
    planned_cost: f64,
    failure_cost: f64,
) -> Result<ReplacementPolicy, InputError> {
    check(law, planned_cost, failure_cost)?;
    let run_to_failure_cost_rate = failure_cost / law.mean();
    let to_failure = ReplacementPolicy {
        age: None,
        cost_rate: run_to_failure_cost_rate,
        run_to_failure_cost_rate,
    };
    if law.shape <= 1.0 || failure_cost <= planned_cost {
        return Ok(to_failure);
    }
    let target = planned_cost / (failure_cost - planned_cost);
    let left = |age: f64| {
        let failed = -(-law.cumulative_hazard(age)).exp_m1();
        law.hazard(age) * expected_service_to(law, age) - failed
    };
    // Past this age no life is left to replace.
    let last = law.scale * 700.0_f64.powf(1.0 / law.shape);
    if left(last) < target {
        return Ok(to_failure);
    }
    let (mut low, mut high) = ((law.scale * 1e-12).ln(), last.ln());
    for _ in 0..MOST_STEPS {
        let middle = 0.5 * (low + high);
        if left(middle.exp()) < target {
            low = middle
        } else {
            high = middle
        }
        if high - low < 1e-14 * (1.0 + middle.abs()) {
            break;
        }
    }
    let age = (0.5 * (low + high)).exp();
    let cost_rate = age_replacement_cost_rate(law, planned_cost, failure_cost, age)?;
    Ok(ReplacementPolicy {
        age: Some(age),
        cost_rate,
        run_to_failure_cost_rate,
    })
}

/// The expected saving of replacing now instead of waiting until the next chance to, when the
/// chance of failing meanwhile and the expected time in service meanwhile are known from any
/// model: `(failure - planned) * chance - cost_rate * service`. The first part is what waiting
/// risks; the second is the service it yields, valued at the long-run cost rate at which new
/// life is bought (renewal-reward; Barlow and Proschan 1965, chapter 4).
pub fn saving_of_replacing_now(
    failure_chance: f64,
    expected_service: f64,
    planned_cost: f64,
    failure_cost: f64,
    cost_rate: f64,
) -> Result<f64, InputError> {
    if !(0.0..=1.0).contains(&failure_chance) {
        let (what, needed) = ("failure chance", "between 0 and 1");
        return Err(InputError::Setting {
            what,
            value: failure_chance,
            needed,
        });
    }
    not_negative("expected service", expected_service)?;
    positive("cost of a planned replacement", planned_cost)?;
    positive("cost of a failure", failure_cost)?;
    not_negative("cost rate", cost_rate)?;
    Ok((failure_cost - planned_cost) * failure_chance - cost_rate * expected_service)
}

/// As `saving_of_replacing_now`, for a Weibull life of `age` that could be replaced again after
/// `wait`, against the best policy for new ones.
pub fn saving_of_replacing_now_at(
    law: &Weibull,
    age: f64,
    wait: f64,
    planned_cost: f64,
    failure_cost: f64,
) -> Result<SavingNow, InputError> {
    let policy = best_replacement_age(law, planned_cost, failure_cost)?;
    not_negative("age", age)?;
    positive("wait", wait)?;
    let failure_chance = law.failure_chance(age, wait);
    let alive = law.survival(age);
    let gained = expected_service_to(law, age + wait) - expected_service_to(law, age);
    // So old that no digits are left: the rest of life is about 1 / hazard.
    let expected_service = if alive > 1e-9 {
        (gained / alive).clamp(0.0, wait)
    } else {
        (failure_chance / law.hazard(age)).clamp(0.0, wait)
    };
    let saving = saving_of_replacing_now(
        failure_chance,
        expected_service,
        planned_cost,
        failure_cost,
        policy.cost_rate,
    )?;
    Ok(SavingNow {
        saving,
        failure_chance,
        expected_service,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_wear_run_to_failure() {
        for (shape, failure_cost) in [(1.0, 5.0), (0.7, 5.0), (2.5, 1.0), (2.5, 0.5)] {
            let law = Weibull {
                shape,
                scale: 100.0,
            };
            let policy = best_replacement_age(&law, 1.0, failure_cost).unwrap();
            assert_eq!(policy.age, None);
            assert_eq!(policy.cost_rate, failure_cost / law.mean());
        }
        let law = Weibull {
            shape: 2.0,
            scale: 100.0,
        };
        assert!(best_replacement_age(&law, 0.0, 5.0).is_err());
        assert!(
            best_replacement_age(
                &Weibull {
                    shape: f64::NAN,
                    ..law
                },
                1.0,
                5.0
            )
            .is_err()
        );
    }

    /// Waiting a moment longer pays before the best age and costs after it.
    #[test]
    fn the_saving_turns_at_the_best_age() {
        let law = Weibull {
            shape: 2.5,
            scale: 1000.0,
        };
        let best = best_replacement_age(&law, 1.0, 5.0).unwrap().age.unwrap();
        let saving = |age| {
            saving_of_replacing_now_at(&law, age, 1e-3, 1.0, 5.0)
                .unwrap()
                .saving
        };
        assert!(saving(0.99 * best) < 0.0 && saving(1.01 * best) > 0.0);
        let old = saving_of_replacing_now_at(&law, 1e5, 7.0, 1.0, 5.0).unwrap();
        assert!(old.saving > 3.9 && old.saving < 4.0, "{old:?}");
    }
}
