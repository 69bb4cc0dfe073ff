//! What a test would be worth: how much better one would decide with its answer.
//!
//! Today's decision is to replace or to wait. A test moves the expected health, and with it the
//! chance, up or down; where some answers would change the decision, the expected saving with the
//! test is greater than without. How far an answer would move it depends on what its own tests leave open
//! of the battery and on how well a test tells. The answer serves for as many horizons as a test speaks
//! for a battery; as it grows old it counts half.

use super::features::log_lost;

/// Equally likely answers looked at: the middles of the tenths of the normal distribution.
const ANSWERS: [f64; 10] = [
    -1.644_854, -1.036_433, -0.674_490, -0.385_320, -0.125_661, 0.125_661, 0.385_320, 0.674_490,
    1.036_433, 1.644_854,
];

/// What waiting and replacing mean for one battery.
#[derive(Debug, Clone, Copy)]
pub struct Stakes {
    /// What a failure costs beyond a planned replacement.
    pub failure_extra: f64,
    /// What the service until the end of the horizon is worth.
    pub service: f64,
}

impl Stakes {
    /// Expected saving of replacing now against waiting.
    pub fn saving(self, chance: f64) -> f64 {
        self.failure_extra * chance - self.service * (1.0 - chance / 2.0)
    }
}

/// The value of a test whose answer moves the ability lost by `sd`, where the hazard goes with the
/// power `slope` of it. Before its cost.
pub fn value_of_test(chance: f64, lost: f64, sd: f64, slope: f64, stakes: Stakes) -> f64 {
    let gathered = -(-chance.clamp(0.0, 0.999_999)).ln_1p();
    let factors: Vec<f64> = ANSWERS
        .iter()
        .map(|answer| (slope * (log_lost(lost + sd * answer) - log_lost(lost))).exp())
        .collect();
    let chance_with = |scale: f64, factor: f64| -(-gathered * scale * factor).exp_m1();
    // On the average over the answers the chance stays what it is.
    let mut scale = 1.0;
    for _ in 0..50 {
        let mean = factors
            .iter()
            .map(|factor| chance_with(scale, *factor))
            .sum::<f64>()
            / factors.len() as f64;
        if mean <= 0.0 || (mean / chance - 1.0).abs() < 1e-9 {
            break;
        }
        scale *= (chance / mean).clamp(0.5, 2.0);
    }
    let with = factors
        .iter()
        .map(|factor| stakes.saving(chance_with(scale, *factor)).max(0.0))
        .sum::<f64>()
        / factors.len() as f64;
    (with - stakes.saving(chance).max(0.0)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAKES: Stakes = Stakes {
        failure_extra: 900.0,
        service: 12.0,
    };

    #[test]
    fn a_test_that_can_change_nothing_is_worth_nothing() {
        // So safe, or so bad, that no likely answer would change what to do; or an answer known before.
        assert_eq!(value_of_test(0.000_1, 0.1, 0.05, 1.5, STAKES), 0.0);
        assert!(value_of_test(0.5, 0.75, 0.05, 1.5, STAKES) < 1e-9);
        assert!(value_of_test(0.013, 0.35, 0.0, 1.5, STAKES) < 1e-9);
    }

    #[test]
    fn it_is_worth_most_where_the_decision_is_open() {
        // It pays from 12 / (900 + 6) = 1.32 %.
        let at = |chance: f64| value_of_test(chance, 0.35, 0.1, 1.5, STAKES);
        assert!(STAKES.saving(12.0 / 906.0).abs() < 1e-9);
        assert!(at(0.0132) > at(0.006) && at(0.0132) > at(0.03));
        assert!(at(0.0132) > 1.0);
        // Never more than knowing would be: what waiting is worth at most.
        assert!(at(0.0132) < STAKES.service);
    }
}
