//! A battery's own pace: how much faster or slower it loses ability than others of its age, kind, place
//! and use, as its own tests tell.
//!
//! A test at age `a` finds a loss of `pace * rate * a + start`, where `rate` is the usual loss a year,
//! with a normal error. Before its first test a battery's pace is about 1 and its start about 0; each
//! test draws both towards what it found, the more so the more there are and the farther they are apart.
//! That is the best linear unbiased prediction of a random-effects line (Robinson, Statistical Science
//! 6:15, 1991), here in closed form from sums over the tests. Ability also sinks by steps that no line foretells,
//! so what is known of it fades from the last test on, like a random walk. Nothing here fails.

use super::feature::HEALTH_WHEN_NEW;
use super::frame::{Frame, Number};
use trade::calendar::DAYS_A_YEAR;

/// Standard deviation of a new battery's ability about the usual, as a share of the rating.
/// `common practice, no source`
const START_SD: f64 = 0.025;

/// Before tests tell: batteries alike in all that is known differ in pace by some 20 %, tests by
/// 6 points, and in a year without a test a battery strays by 4. `common practice, no source`
pub const USUAL_SPREAD: Spread = Spread {
    pace_sd: 0.2,
    test_sd: 0.06,
    stray_sd: 0.04,
};

const PACES: [f64; 6] = [0.05, 0.1, 0.15, 0.2, 0.3, 0.4];
const TESTS: [f64; 7] = [0.02, 0.03, 0.04, 0.05, 0.065, 0.08, 0.1];
const STRAYS: [f64; 6] = [0.0, 0.02, 0.04, 0.07, 0.1, 0.15];

/// A younger battery's rate is that of this age.
const YOUNGEST_YEARS: f64 = 0.25;

/// Bounds of what a cell may say: the greatest share of its rating that a test is believed, and more
/// years and tests than a battery has.
pub const MOST_HEALTH: f64 = 1.4;
const MOST_YEARS: f64 = 30.0;
const MOST_TESTS: f64 = 1_000.0;

/// How much batteries differ, and tests of one battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Standard deviation of the pace about 1.
    pub pace_sd: f64,
    /// Standard deviation of a test about the battery's true share of its rating.
    pub test_sd: f64,
    /// Standard deviation of what a battery strays from its line in a year without a test, a share of the rating.
    pub stray_sd: f64,
}

/// What a battery's tests say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnPace {
    /// Share by which it is faster than usual.
    pub faster: f64,
    /// Ability lost before it came, as a share of the rating.
    pub start: f64,
    /// Ability lost today, as a share of the rating.
    pub lost: f64,
    /// Variance of that by the line.
    pub variance: f64,
    /// Variance of what it may have strayed from the line since.
    pub strayed: f64,
}

/// Sums over a battery's tests so far.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TestSums {
    pub tests: f64,
    pub age_years: f64,
    pub age_years_squared: f64,
    pub lost: f64,
    pub age_years_by_lost: f64,
    /// From the last of them until today, or from when it was new.
    pub years_since: f64,
}

impl TestSums {
    /// Those of a row of the frame, within what tests can add up to.
    pub fn of(frame: &Frame, row: usize) -> Self {
        let known = |name: Number| {
            let value = frame.number(name, row);
            if value.is_finite() {
                value.max(0.0)
            } else {
                0.0
            }
        };
        let tests = known(Number::HealthTests).min(MOST_TESTS);
        let age_years = known(Number::AgeSum).min(MOST_YEARS * tests);
        Self {
            tests,
            age_years,
            age_years_squared: known(Number::AgeSquareSum).clamp(
                age_years * age_years / tests.max(1.0),
                (MOST_YEARS * age_years).max(age_years * age_years / tests.max(1.0)),
            ),
            lost: HEALTH_WHEN_NEW * tests - known(Number::HealthSum).min(MOST_HEALTH * tests),
            age_years_by_lost: HEALTH_WHEN_NEW * age_years
                - known(Number::AgeHealthSum).min(MOST_HEALTH * age_years),
            years_since: match tests > 0.0 {
                true => known(Number::DaysSinceHealth),
                false => known(Number::AgeDays),
            }
            .min(MOST_YEARS * DAYS_A_YEAR)
                / DAYS_A_YEAR,
        }
    }
}

/// The usual loss a year of a battery that at this age has usually lost `usual`.
pub fn usual_rate(usual: f64, age_years: f64) -> f64 {
    usual / age_years.max(YOUNGEST_YEARS)
}

/// Share of what is not known of a battery's loss that its tests settled: 0 without a test.
pub fn settled_by_tests(own: &OwnPace, usual: f64, spread: Spread) -> f64 {
    let untested = own_pace(TestSums::default(), usual, 1.0, spread).variance;
    (1.0 - own.variance / untested).clamp(0.0, 1.0)
}

/// What the tests say of a battery that usually would have lost `usual` at its age today.
pub fn own_pace(sums: TestSums, usual: f64, age_years: f64, spread: Spread) -> OwnPace {
    let rate = usual_rate(usual, age_years);
    let noise = spread.test_sd * spread.test_sd;
    // What the tests found beyond the usual, and by age.
    let beyond = sums.lost - rate * sums.age_years;
    let beyond_by_age = rate * (sums.age_years_by_lost - rate * sums.age_years_squared);
    let of_pace = rate * rate * sums.age_years_squared / noise + spread.pace_sd.powi(-2);
    let of_both = rate * sums.age_years / noise;
    let of_start = sums.tests / noise + START_SD.powi(-2);
    let determinant = of_pace * of_start - of_both * of_both;
    let faster = (of_start * beyond_by_age - of_both * beyond) / (noise * determinant);
    let start = (of_pace * beyond - of_both * beyond_by_age) / (noise * determinant);
    OwnPace {
        faster,
        start,
        lost: usual * (1.0 + faster) + start,
        variance: (usual * usual * of_start - 2.0 * usual * of_both + of_pace) / determinant,
        strayed: spread.stray_sd.powi(2) * sums.years_since,
    }
}

/// A test to come: what the tests before it said, and what it found.
#[derive(Debug, Clone, Copy)]
pub struct NextTest {
    pub sums: TestSums,
    pub usual: f64,
    pub age_years: f64,
    pub lost: f64,
    pub weight: f64,
}

/// The spread under which the tests that came were the most likely, on a coarse grid.
pub fn most_likely_spread(tests: &[NextTest]) -> Spread {
    let surprises = |pace_sd: f64, test_sd: f64| {
        let steady = Spread {
            pace_sd,
            test_sd,
            stray_sd: 0.0,
        };
        let mut surprises = [0.0; STRAYS.len()];
        for test in tests {
            let own = own_pace(test.sums, test.usual, test.age_years, steady);
            for (surprise, stray_sd) in surprises.iter_mut().zip(STRAYS) {
                let strayed = stray_sd * stray_sd * test.sums.years_since;
                let variance = own.variance + strayed + test_sd * test_sd;
                // A test farther off than four deviations is one gone wrong and says nothing of the spread.
                let far = ((test.lost - own.lost).powi(2) / variance).min(16.0);
                *surprise += test.weight * (variance.ln() + far);
            }
        }
        let spreads = STRAYS.map(|stray_sd| Spread { stray_sd, ..steady });
        surprises.into_iter().zip(spreads)
    };
    PACES
        .iter()
        .flat_map(|&pace_sd| TESTS.map(|test_sd| (pace_sd, test_sd)))
        .flat_map(|(pace_sd, test_sd)| surprises(pace_sd, test_sd))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(USUAL_SPREAD, |(_, spread)| spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums(tests: &[(f64, f64)]) -> TestSums {
        let total = |value: fn(&(f64, f64)) -> f64| tests.iter().map(value).sum();
        TestSums {
            tests: tests.len() as f64,
            age_years: total(|t| t.0),
            age_years_squared: total(|t| t.0 * t.0),
            lost: total(|t| t.1),
            age_years_by_lost: total(|t| t.0 * t.1),
            years_since: 0.0,
        }
    }

    #[test]
    fn without_a_test_it_is_usual_and_as_uncertain_as_batteries_differ() {
        let own = own_pace(TestSums::default(), 0.3, 4.0, USUAL_SPREAD);
        assert_eq!((own.faster, own.start, own.lost), (0.0, 0.0, 0.3));
        let expected = (0.3 * USUAL_SPREAD.pace_sd).powi(2) + START_SD.powi(2);
        assert!((own.variance - expected).abs() < 1e-12);
    }

    /// Against the general formula of the posterior of a normal mean vector, one test: with
    /// x = (0.2, 1), prior variances (0.04, 0.025^2), noise 0.0036 and a residual of 0.1, the
    /// gain is prior x / (x' prior x + noise).
    #[test]
    fn one_test_draws_it_by_its_share_of_the_variance() {
        let own = own_pace(sums(&[(2.0, 0.3)]), 0.4, 4.0, USUAL_SPREAD);
        let (pace, start, noise) = (0.04, 0.025 * 0.025, 0.0036);
        let total = 0.04 * pace + start + noise;
        assert!((own.faster - 0.2 * pace / total * 0.1).abs() < 1e-12);
        assert!((own.start - start / total * 0.1).abs() < 1e-12);
        let covariance = 0.4 * 0.2 * pace + start;
        let variance = 0.16 * pace + start - covariance * covariance / total;
        assert!((own.variance - variance).abs() < 1e-12);
    }

    #[test]
    fn many_tests_of_a_fast_battery_are_believed() {
        let tests: Vec<(f64, f64)> = (1..=40)
            .map(|n| (f64::from(n) * 0.1, f64::from(n) * 0.015))
            .collect();
        let own = own_pace(sums(&tests), 0.4, 4.0, USUAL_SPREAD);
        assert!((own.lost - 0.6).abs() < 0.02, "{}", own.lost);
        assert!(own.variance.sqrt() < 0.03);
        assert!(settled_by_tests(&own, 0.4, USUAL_SPREAD) > 0.85);
        let untested = own_pace(TestSums::default(), 0.4, 4.0, USUAL_SPREAD);
        assert_eq!(settled_by_tests(&untested, 0.4, USUAL_SPREAD), 0.0);
    }

    /// Batteries whose paces and tests spread by known amounts, on fixed quantiles.
    #[test]
    fn the_spread_is_found_in_the_tests_that_came() {
        let z = [-1.38, -0.67, -0.21, 0.21, 0.67, 1.38];
        let mut tests = Vec::new();
        for pace in z {
            for error in z {
                for before in z {
                    let lost = |age: f64, e: f64| 0.1 * age * (1.0 + 0.3 * pace) + 0.04 * e;
                    tests.push(NextTest {
                        sums: sums(&[(3.0, lost(3.0, before))]),
                        usual: 0.4,
                        age_years: 4.0,
                        lost: lost(4.0, error),
                        weight: 1.0,
                    });
                }
            }
        }
        let found = most_likely_spread(&tests);
        assert!((0.2..=0.3).contains(&found.pace_sd), "{found:?}");
        assert!((0.03..=0.05).contains(&found.test_sd), "{found:?}");
        assert_eq!(found.stray_sd, 0.0);
    }

    /// Batteries alike that stray by a tenth in a year: those tested a month ago are where they were, the others are
    /// not.
    #[test]
    fn what_is_known_fades_as_batteries_stray() {
        let z = [-1.38, -0.67, -0.21, 0.21, 0.67, 1.38];
        let mut tests = Vec::new();
        for years_since in [0.1_f64, 0.5, 1.0, 2.0] {
            for strayed in z {
                for error in z {
                    let mut sums = sums(&[(2.0, 0.2)]);
                    sums.years_since = years_since;
                    tests.push(NextTest {
                        sums,
                        usual: 0.2 + 0.1 * years_since,
                        age_years: 2.0 + years_since,
                        lost: 0.2
                            + 0.1 * years_since
                            + 0.1 * years_since.sqrt() * strayed
                            + 0.03 * error,
                        weight: 1.0,
                    });
                }
            }
        }
        let found = most_likely_spread(&tests);
        assert!((0.07..=0.1).contains(&found.stray_sd), "{found:?}");
        let own = |sums| own_pace(sums, 0.3, 3.0, found).strayed;
        assert!(own(tests[143].sums) > own(tests[0].sums) + 0.003);
    }
}
