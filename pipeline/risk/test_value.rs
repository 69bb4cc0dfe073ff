//! What a test would be worth: how much better one would decide with its answer.
//!
//! Today's decision is to replace or to wait. A test moves the expected health, and with it the
//! chance, up or down; where some answers would change the decision, the expected saving with the
//! test is greater than without. How far an answer would move it depends on what its own tests leave open
//! of the battery and on how well a test tells. The answer serves for as many horizons as a test speaks
//! for a battery; as it grows old it counts half.

use super::expected_health::Expected;
use super::feature::log_lost;
use super::stakes::Stakes;

/// Equally likely answers looked at: the middles of the tenths of the normal distribution.
pub const ANSWERS: [f64; 10] = [
    -1.644_854, -1.036_433, -0.674_490, -0.385_320, -0.125_661, 0.125_661, 0.385_320, 0.674_490,
    1.036_433, 1.644_854,
];

/// What a test of a battery can tell: the ability lost as expected, how far an answer moves that, and the
/// power of it that the hazard goes with.
#[derive(Debug, Clone, Copy)]
pub struct TestPower {
    pub lost: f64,
    pub sd: f64,
    pub slope: f64,
}

impl TestPower {
    /// Of a battery about which nothing is known.
    pub const NONE: TestPower = TestPower {
        lost: 0.0,
        sd: 0.0,
        slope: 0.0,
    };

    /// That of a row's battery, whose hazard goes with its lost ability to this power. An answer spreads by what is
    /// not known and by the noise of a test; only the first share of it moves what is expected.
    pub fn of(expected: &Expected, row: usize, slope: f64) -> Self {
        Self {
            lost: expected.lost[row],
            sd: expected.sd(row).powi(2) / expected.reading_sd(row).max(1e-9),
            slope,
        }
    }

    /// The factor on the hazard after an answer so many standard deviations worse than expected.
    pub fn factor(self, answer: f64) -> f64 {
        (self.slope * (log_lost(self.lost + self.sd * answer) - log_lost(self.lost))).exp()
    }

    /// The factors after each of [`ANSWERS`], scaled so that over all answers the chance stays what it
    /// is, and that scale.
    pub fn factors(self, chance: f64) -> ([f64; 10], f64) {
        let gathered = -(-chance.clamp(0.0, 0.999_999)).ln_1p();
        let factors = ANSWERS.map(|answer| self.factor(answer));
        let chance_with = |scale: f64, factor: f64| -(-gathered * scale * factor).exp_m1();
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
        (factors.map(|factor| factor * scale), scale)
    }
}

/// The value of a test now, where what is left is decided again after so many days. Before its cost.
pub fn value_of_test(chance: f64, power: TestPower, stakes: Stakes, days: f64) -> f64 {
    let gathered = -(-chance.clamp(0.0, 0.999_999)).ln_1p();
    let (factors, _) = power.factors(chance);
    let with = factors
        .iter()
        .map(|factor| {
            let chance = -(-gathered * factor).exp_m1();
            stakes.saving(chance, days).max(0.0)
        })
        .sum::<f64>()
        / factors.len() as f64;
    (with - stakes.saving(chance, days).max(0.0)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAKES: Stakes = Stakes {
        failure_extra: 900.0,
        cost_per_day: 12.0 / 56.0,
    };

    fn value(chance: f64, lost: f64, sd: f64) -> f64 {
        let power = TestPower {
            lost,
            sd,
            slope: 1.5,
        };
        value_of_test(chance, power, STAKES, 56.0)
    }

    #[test]
    fn a_test_that_can_change_nothing_is_worth_nothing() {
        // So safe, or so bad, that no likely answer would change what to do; or an answer known before.
        assert_eq!(value(0.000_1, 0.1, 0.05), 0.0);
        assert!(value(0.5, 0.75, 0.05) < 1e-9);
        assert!(value(0.013, 0.35, 0.0) < 1e-9);
    }

    #[test]
    fn it_is_worth_most_where_the_decision_is_open() {
        // It pays from 12 / (900 + 6) = 1.32 %.
        let at = |chance: f64| value(chance, 0.35, 0.1);
        assert!(at(0.0132) > at(0.006) && at(0.0132) > at(0.03));
        assert!(at(0.0132) > 1.0);
        // Never more than knowing would be: what waiting is worth at most.
        assert!(at(0.0132) < 12.0);
    }

    #[test]
    fn over_all_answers_the_chance_stays_what_it_is() {
        let power = TestPower {
            lost: 0.35,
            sd: 0.1,
            slope: 1.5,
        };
        let (factors, _) = power.factors(0.04);
        let gathered = -(-0.04_f64).ln_1p();
        let mean = factors
            .iter()
            .map(|factor| -(-gathered * factor).exp_m1())
            .sum::<f64>()
            / 10.0;
        assert!((mean - 0.04).abs() < 1e-8, "{mean}");
        assert!(factors.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
