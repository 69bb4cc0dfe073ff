//! A battery's own pace: how much faster or slower it loses ability than others of its age, kind, place
//! and use, as its own tests tell.
//!
//! At age `a` a battery has lost `pace x rate x a + start(a)`, where `rate` is the usual loss a year; a test
//! finds that with a normal error. Before its first test a battery's pace is about 1 and its start about 0; the
//! start then strays from year to year, since ability also sinks by steps that no line foretells. Each test draws
//! pace and start towards what it found, the more so the less was known of them, so that the last test counts for
//! most where batteries stray and all alike where they do not. That is the Kalman filter of a local level with a
//! random slope (Durbin and Koopman, Time Series Analysis by State Space Methods, chapter 4; from memory); where
//! nothing strays it is the best linear unbiased prediction of a random-effects line (Robinson, Statistical
//! Science 6:15, 1991). Nothing here fails.

use super::feature::{HEALTH_WHEN_NEW, age_years};
use super::frame::{Frame, HealthTest, Number};
use super::together::together;
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

/// The spread is sought in about so many tests; more would tell it no better.
const TESTS_LOOKED_AT: usize = 4_000;

/// A younger battery's rate is that of this age.
const YOUNGEST_YEARS: f64 = 0.25;

/// Bounds of what a cell may say: the greatest share of its rating that a test is believed, and more
/// years than a battery has.
pub const MOST_HEALTH: f64 = 1.4;
const MOST_YEARS: f64 = 30.0;

/// How much batteries differ, and tests of one battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Standard deviation of the pace about 1.
    pub pace_sd: f64,
    /// Standard deviation of a test about the battery's true share of its rating.
    pub test_sd: f64,
    /// Standard deviation of what a battery strays from its line in a year, a share of the rating.
    pub stray_sd: f64,
}

/// What a battery's tests say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnPace {
    /// Share by which it is faster than usual.
    pub faster: f64,
    /// Ability lost beside its pace, as a share of the rating: before it came, and as it strayed.
    pub start: f64,
    /// Ability lost today, as a share of the rating.
    pub lost: f64,
    /// Variance of that.
    pub variance: f64,
}

/// A battery on a day: its tests so far, and what is usual of it.
#[derive(Debug, Clone, Copy)]
pub struct Tested<'a> {
    pub tests: &'a [HealthTest],
    /// What it usually would have lost by the age that is looked at.
    pub usual: f64,
    /// That age, and the age on the day, in years.
    pub age_years: f64,
    pub today_years: f64,
}

impl<'a> Tested<'a> {
    /// The battery of a row, in the middle of the horizon.
    pub fn of(frame: &'a Frame, row: usize, usual: f64, horizon_days: f64) -> Self {
        let today_years = frame.number(Number::AgeDays, row) / DAYS_A_YEAR;
        Self {
            tests: frame.tests(row),
            usual,
            age_years: age_years(frame, row, horizon_days),
            today_years: today_years.clamp(0.0, MOST_YEARS),
        }
    }
}

/// The usual loss a year of a battery that at this age has usually lost `usual`.
pub fn usual_rate(usual: f64, age_years: f64) -> f64 {
    usual / age_years.max(YOUNGEST_YEARS)
}

/// Share of what is not known of a battery's loss that its tests settled: 0 without a test.
pub fn settled_by_tests(own: &OwnPace, battery: Tested<'_>, spread: Spread) -> f64 {
    let untested = Tested {
        tests: &[],
        ..battery
    };
    (1.0 - own.variance / own_pace(untested, spread).variance).clamp(0.0, 1.0)
}

/// What the tests say of a battery.
pub fn own_pace(battery: Tested<'_>, spread: Spread) -> OwnPace {
    let rate = usual_rate(battery.usual, battery.age_years);
    let noise = spread.test_sd * spread.test_sd;
    let stray_a_year = spread.stray_sd * spread.stray_sd;
    let (mut faster, mut start) = (0.0, 0.0);
    // Variances of both, and their covariance.
    let mut of_pace = spread.pace_sd * spread.pace_sd;
    let mut of_both = 0.0;
    let mut of_start = START_SD * START_SD;
    let mut seen_years = 0.0_f64;
    for test in battery.tests {
        let age = test.age_years.clamp(seen_years, MOST_YEARS);
        of_start += stray_a_year * (age - seen_years);
        seen_years = age;
        let by_pace = rate * age;
        let lost = HEALTH_WHEN_NEW - test.health.clamp(0.0, MOST_HEALTH);
        let surprise = lost - by_pace * (1.0 + faster) - start;
        let (towards_pace, towards_start) =
            (by_pace * of_pace + of_both, by_pace * of_both + of_start);
        let variance = by_pace * towards_pace + towards_start + noise;
        faster += towards_pace / variance * surprise;
        start += towards_start / variance * surprise;
        of_pace -= towards_pace * towards_pace / variance;
        of_both -= towards_pace * towards_start / variance;
        of_start -= towards_start * towards_start / variance;
    }
    of_start += stray_a_year * (battery.today_years - seen_years).max(0.0);
    let usual = battery.usual;
    OwnPace {
        faster,
        start,
        lost: usual * (1.0 + faster) + start,
        variance: (usual * (usual * of_pace + 2.0 * of_both) + of_start).max(0.0),
    }
}

/// A test to come: what was known before it, and what it found.
#[derive(Debug, Clone, Copy)]
pub struct NextTest<'a> {
    pub battery: Tested<'a>,
    pub lost: f64,
    pub weight: f64,
}

/// The spread under which the tests that came were the most likely, on a coarse grid.
pub fn most_likely_spread(tests: &[NextTest<'_>]) -> Spread {
    let some = tests.iter().step_by(tests.len() / TESTS_LOOKED_AT + 1);
    let surprise = |spread: Spread| -> f64 {
        let each = some.clone().map(|test| {
            let own = own_pace(test.battery, spread);
            let variance = own.variance + spread.test_sd * spread.test_sd;
            // A test farther off than four deviations is one gone wrong and says nothing of the spread.
            let far = ((test.lost - own.lost).powi(2) / variance).min(16.0);
            test.weight * (variance.ln() + far)
        });
        each.sum()
    };
    let mut spreads = Vec::with_capacity(PACES.len() * TESTS.len() * STRAYS.len());
    for pace_sd in PACES {
        for test_sd in TESTS {
            spreads.extend(STRAYS.map(|stray_sd| Spread {
                pace_sd,
                test_sd,
                stray_sd,
            }));
        }
    }
    together(&spreads, |spread| (surprise(*spread), *spread))
        .into_iter()
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(USUAL_SPREAD, |(_, spread)| spread)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A battery aged 4 with these tests: at what age, and the loss each found.
    fn tests(found: &[(f64, f64)]) -> Vec<HealthTest> {
        found
            .iter()
            .map(|(age_years, lost)| HealthTest {
                age_years: *age_years,
                health: HEALTH_WHEN_NEW - lost,
            })
            .collect()
    }

    fn aged_4(tests: &[HealthTest], usual: f64) -> Tested<'_> {
        Tested {
            tests,
            usual,
            age_years: 4.0,
            today_years: 4.0,
        }
    }

    const STEADY: Spread = Spread {
        stray_sd: 0.0,
        ..USUAL_SPREAD
    };

    #[test]
    fn without_a_test_it_is_usual_and_as_uncertain_as_batteries_differ() {
        let own = own_pace(aged_4(&[], 0.3), USUAL_SPREAD);
        assert_eq!((own.faster, own.start, own.lost), (0.0, 0.0, 0.3));
        // 0.3 x 20 % of pace, 2.5 points of start, 4 points a year strayed.
        let expected = 0.06_f64.powi(2) + START_SD.powi(2) + 0.04_f64.powi(2) * 4.0;
        assert!((own.variance - expected).abs() < 1e-12);
    }

    /// Against the general formula of the posterior of a normal mean vector, one test: with
    /// x = (0.2, 1), prior variances (0.04, 0.025^2), noise 0.0036 and a residual of 0.1, the
    /// gain is prior x / (x' prior x + noise).
    #[test]
    fn one_test_draws_it_by_its_share_of_the_variance() {
        let own = own_pace(aged_4(&tests(&[(2.0, 0.3)]), 0.4), STEADY);
        let (pace, start, noise) = (0.04, 0.025 * 0.025, 0.0036);
        let total = 0.04 * pace + start + noise;
        assert!((own.faster - 0.2 * pace / total * 0.1).abs() < 1e-12);
        assert!((own.start - start / total * 0.1).abs() < 1e-12);
        let covariance = 0.4 * 0.2 * pace + start;
        let variance = 0.16 * pace + start - covariance * covariance / total;
        assert!((own.variance - variance).abs() < 1e-12);
    }

    /// Two tests of one that does not stray are the posterior of a line whatever their order of ages: the normal
    /// equations (X'X / noise + 1 / prior) b = X'y / noise, solved by hand for x = (0.1, 1) and (0.3, 1),
    /// residuals 0.05 and 0.2.
    #[test]
    fn tests_of_a_steady_battery_make_a_line() {
        let own = own_pace(aged_4(&tests(&[(1.0, 0.15), (3.0, 0.5)]), 0.4), STEADY);
        let noise = 0.0036;
        let (pp, ps, ss) = (0.1 / noise + 25.0, 0.4 / noise, 2.0 / noise + 1_600.0);
        let (py, sy) = (0.065 / noise, 0.25 / noise);
        let determinant = pp * ss - ps * ps;
        assert!((own.faster - (ss * py - ps * sy) / determinant).abs() < 1e-9);
        assert!((own.start - (pp * sy - ps * py) / determinant).abs() < 1e-9);
    }

    /// A battery that read sound at one and two years and 42 % at three: the more batteries stray, the more it is
    /// believed. Against the filter in matrices, in numpy: gain P h / (h' P h + noise) at each test.
    #[test]
    fn a_far_reading_is_believed_as_far_as_batteries_stray() {
        let found = tests(&[(1.0, 0.1), (2.0, 0.2), (3.0, 0.63)]);
        for (stray_sd, lost, variance) in [
            (0.0, 0.571_740_391_588_107_4, 0.002_505_293_691_080_493),
            (0.04, 0.606_648_387_337_216_4, 0.004_409_728_152_651_922),
            (0.1, 0.669_469_283_094_669_2, 0.013_402_494_179_233_943),
        ] {
            let own = own_pace(aged_4(&found, 0.4), Spread { stray_sd, ..STEADY });
            assert!((own.lost - lost).abs() < 1e-12, "{}", own.lost);
            assert!((own.variance - variance).abs() < 1e-12, "{}", own.variance);
        }
    }

    #[test]
    fn many_tests_of_a_fast_battery_are_believed() {
        let found: Vec<(f64, f64)> = (1..=40)
            .map(|n| (f64::from(n) * 0.1, f64::from(n) * 0.015))
            .collect();
        let found = tests(&found);
        let battery = aged_4(&found, 0.4);
        let own = own_pace(battery, USUAL_SPREAD);
        assert!((own.lost - 0.6).abs() < 0.02, "{}", own.lost);
        assert!(own.variance.sqrt() < 0.03);
        assert!(settled_by_tests(&own, battery, USUAL_SPREAD) > 0.85);
        let untested = own_pace(aged_4(&[], 0.4), USUAL_SPREAD);
        assert_eq!(settled_by_tests(&untested, battery, USUAL_SPREAD), 0.0);
    }

    const Z: [f64; 6] = [-1.38, -0.67, -0.21, 0.21, 0.67, 1.38];

    /// Batteries whose paces and tests spread by known amounts, on fixed quantiles.
    #[test]
    fn the_spread_is_found_in_the_tests_that_came() {
        let mut found = Vec::new();
        for pace in Z {
            for error in Z {
                let lost = |age: f64, e: f64| 0.1 * age * (1.0 + 0.3 * pace) + 0.04 * e;
                found.push((Vec::new(), lost(4.0, error)));
                for before in Z {
                    for age in [1.0, 2.0, 3.0] {
                        found.push((tests(&[(age, lost(age, before))]), lost(4.0, error)));
                    }
                }
            }
        }
        let next: Vec<NextTest<'_>> = found
            .iter()
            .map(|(before, lost)| NextTest {
                battery: aged_4(before, 0.4),
                lost: *lost,
                weight: 1.0,
            })
            .collect();
        let found = most_likely_spread(&next);
        assert!((0.2..=0.3).contains(&found.pace_sd), "{found:?}");
        assert!((0.03..=0.05).contains(&found.test_sd), "{found:?}");
        assert!(found.stray_sd <= 0.02, "{found:?}");
    }

    /// Batteries alike that stray by a tenth in a year: those tested a month ago are where they were, the others are
    /// not.
    #[test]
    fn what_is_known_fades_as_batteries_stray() {
        let mut found = Vec::new();
        for years_since in [0.1_f64, 0.5, 1.0, 2.0] {
            for before in Z {
                for strayed in Z {
                    for error in Z {
                        let then = 0.2 + 0.1 * 2.0_f64.sqrt() * before;
                        let now = then + 0.1 * years_since + 0.1 * years_since.sqrt() * strayed;
                        found.push((years_since, tests(&[(2.0, then)]), now + 0.03 * error));
                    }
                }
            }
        }
        let next: Vec<NextTest<'_>> = found
            .iter()
            .map(|(years_since, before, lost)| NextTest {
                battery: Tested {
                    tests: before,
                    usual: 0.2 + 0.1 * years_since,
                    age_years: 2.0 + years_since,
                    today_years: 2.0 + years_since,
                },
                lost: *lost,
                weight: 1.0,
            })
            .collect();
        let spread = most_likely_spread(&next);
        assert!((0.07..=0.1).contains(&spread.stray_sd), "{spread:?}");
        let of = |next: &NextTest<'_>| own_pace(next.battery, spread).variance;
        assert!(of(&next[next.len() - 1]) > of(&next[0]) + 0.003);
    }
}
