//! Two rankings of the same batteries against each other: which failures each has among its first, and
//! whether the difference is more than chance.
//!
//! A battery that failed is foretold from several days, so each failing battery counts once, by the mean
//! over its days. Batteries told alike share the places they stand for. The test is the exact sign test
//! over the batteries that only one ranking, or one more often, has among its first.

use std::collections::BTreeMap;

use super::prediction::Prediction;

/// What two rankings make of the failing batteries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contest {
    /// Failing batteries that were foretold.
    pub failing: usize,
    /// Those that the first ranking has among its first more often than the second, and the other way.
    pub by_first: usize,
    pub by_second: usize,
    /// Chance of as uneven a split, were the rankings alike.
    pub p: f64,
}

/// Holds two rankings against each other at the first `places` of each day; a higher value ranks before.
pub fn contest(
    told: &[Prediction],
    first: impl Fn(&Prediction) -> f64,
    second: impl Fn(&Prediction) -> f64,
    places: usize,
) -> Contest {
    let one = caught(told, first, places);
    let other = caught(told, second, places);
    let more = |a: &BTreeMap<(&str, &str), f64>, b: &BTreeMap<(&str, &str), f64>| {
        a.iter()
            .filter(|(battery, share)| **share > b.get(*battery).copied().unwrap_or(0.0) + 1e-9)
            .count()
    };
    let (by_first, by_second) = (more(&one, &other), more(&other, &one));
    Contest {
        failing: one.len(),
        by_first,
        by_second,
        p: sign_test(by_first, by_second),
    }
}

/// The share of its days on which each failing battery is among the first places.
fn caught(
    told: &[Prediction],
    value: impl Fn(&Prediction) -> f64,
    places: usize,
) -> BTreeMap<(&str, &str), f64> {
    let mut sums: BTreeMap<(&str, &str), (f64, f64)> = BTreeMap::new();
    for origin in told.chunk_by(|a, b| a.origin == b.origin) {
        for battery in origin.iter().filter(|one| one.failed) {
            let own = value(battery);
            let above = origin.iter().filter(|one| value(one) > own).count();
            let alike = origin.iter().filter(|one| value(one) == own).count().max(1);
            let share = (places.saturating_sub(above) as f64 / alike as f64).min(1.0);
            let sum = sums
                .entry((&battery.vin, &battery.position))
                .or_insert((0.0, 0.0));
            sum.0 += share;
            sum.1 += 1.0;
        }
    }
    sums.into_iter()
        .map(|(battery, (sum, days))| (battery, sum / days))
        .collect()
}

/// The two-sided exact sign test: as uneven a split of so many, or more, were each as likely.
fn sign_test(a: usize, b: usize) -> f64 {
    let all = a + b;
    let mut chance = 0.5f64.powi(i32::try_from(all).unwrap_or(i32::MAX));
    let mut tail = 0.0;
    for successes in 0..=a.min(b) {
        tail += chance;
        chance *= (all - successes) as f64 / (successes + 1) as f64;
    }
    (2.0 * tail).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Binomial tails at a half, by hand: 2 (1 + 6) / 64 and 2 / 1024.
    #[test]
    fn the_sign_test_has_the_binomials_tails() {
        assert!((sign_test(1, 5) - 14.0 / 64.0).abs() < 1e-12);
        assert!((sign_test(10, 0) - 2.0 / 1024.0).abs() < 1e-12);
        assert!((sign_test(3, 3) - 1.0).abs() < 1e-12);
        assert!((sign_test(0, 0) - 1.0).abs() < 1e-12);
    }

    fn told(vin: &str, day: u32, chance: f64, by_age: f64, failed: bool) -> Prediction {
        Prediction {
            origin: chrono::NaiveDate::from_ymd_opt(2026, 1, day).unwrap_or_default(),
            vin: vin.to_owned(),
            position: "main".to_owned(),
            chance,
            chance_lower: 0.0,
            chance_upper: 1.0,
            by_age,
            test_score: 0.0,
            days: 56.0,
            failed,
        }
    }

    #[test]
    fn a_battery_foretold_from_two_days_counts_once() {
        let told = [
            told("a", 1, 0.9, 0.1, true),
            told("b", 1, 0.2, 0.9, true),
            told("c", 1, 0.1, 0.2, false),
            told("a", 2, 0.9, 0.1, true),
            told("c", 2, 0.1, 0.8, false),
        ];
        let found = contest(&told, |one| one.chance, |one| one.by_age, 1);
        assert_eq!((found.failing, found.by_first, found.by_second), (2, 1, 1));
        // All are told alike: each of three has a third of the one place, on the second day a half.
        let alike = contest(&told, |_| 1.0, |one| one.chance, 1);
        assert_eq!((alike.by_first, alike.by_second), (1, 1));
    }
}
