//! Do nominal 95 % limits hold the truth 95 times in 100?
//!
//! Simulated fleets with late entry and right censoring. The number of fleets is taken from
//! VOLTWANE_COVERAGE_FLEETS (200 without it); the shares are printed, so the whole study is
//! `VOLTWANE_COVERAGE_FLEETS=2000 cargo test --release coverage -- --nocapture`.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use voltwane::statistics::lives::kaplan_meier::kaplan_meier;
use voltwane::statistics::lives::life::{IntervalLife, Life};
use voltwane::statistics::lives::turnbull::turnbull;
use voltwane::statistics::lives::weibull::fit_weibull_sample;
use voltwane::statistics::lives::weibull_law::Weibull;
use voltwane::statistics::lives::weibull_likelihood::{WeibullPrior, WeibullSample};
use voltwane::statistics::lives::weibull_profile::profile_b_life_limits;
use voltwane::statistics::slopes::crossing::{Crossing, Side, forecast_crossing};

const TRUTH: Weibull = Weibull {
    shape: 2.2,
    scale: 1600.0,
};

fn fleets() -> usize {
    std::env::var("VOLTWANE_COVERAGE_FLEETS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(200)
}

fn drawn_life(random: &mut ChaCha8Rng) -> f64 {
    let survival: f64 = 1.0 - random.random::<f64>();
    TRUTH.scale * (-survival.ln()).powf(1.0 / TRUTH.shape)
}

/// Lives that a window of two years catches: aged up to four years at its start, watched to
/// failure or its end, until so many have failed in sight.
fn fleet(random: &mut ChaCha8Rng, failures: usize) -> Vec<Life> {
    let (mut lives, mut seen) = (Vec::new(), 0);
    while seen < failures {
        let entry = if random.random_bool(0.3) {
            0.0
        } else {
            random.random_range(0.0..1460.0)
        };
        let (end, life) = (entry + random.random_range(30.0..730.0), drawn_life(random));
        if life <= entry {
            continue;
        }
        seen += usize::from(life <= end);
        lives.push(Life {
            entry,
            exit: life.min(end),
            event: life <= end,
        });
    }
    lives
}

/// Share of fleets whose limits hold the truth, with its Monte-Carlo standard error.
struct Share {
    held: usize,
    of: usize,
}

impl Share {
    fn value(&self) -> f64 {
        self.held as f64 / self.of as f64
    }

    /// Three standard errors of a share of 0.95.
    fn slack(&self) -> f64 {
        3.0 * (0.95_f64 * 0.05 / self.of as f64).sqrt()
    }
}

/// Coverage of B10 by the delta method and by profile likelihood; fleets without a fit do not hold.
fn b10_coverage(failures: usize) -> (Share, Share) {
    let fleets = fleets();
    let mut random = ChaCha8Rng::seed_from_u64(20 + failures as u64);
    let truth = TRUTH.b_life(0.1);
    let (mut delta, mut profile) = (0, 0);
    for _ in 0..fleets {
        let sample = WeibullSample::from_lives(&fleet(&mut random, failures)).unwrap();
        let Ok(fit) = fit_weibull_sample(&sample, &WeibullPrior::default()) else {
            continue;
        };
        delta += usize::from(fit.b_life_limits(0.1, 0.95).unwrap().contains(truth));
        let limits = profile_b_life_limits(&sample, &fit, 0.1, 0.95).unwrap();
        profile += usize::from(limits.contains(truth));
    }
    let share = |held| Share { held, of: fleets };
    let (delta, profile) = (share(delta), share(profile));
    println!(
        "B10, {failures} failures, {fleets} fleets: delta {:.4}, profile {:.4}",
        delta.value(),
        profile.value()
    );
    (delta, profile)
}

#[test]
fn b10_limits_hold_with_many_failures() {
    for failures in [100, 200] {
        let (delta, profile) = b10_coverage(failures);
        for share in [delta, profile] {
            let (low, high) = (0.93 - share.slack(), 0.97 + share.slack());
            assert!((low..=high).contains(&share.value()), "{}", share.value());
        }
    }
}

/// With ten failures the limits are approximate; they still hold at least eight times in ten.
#[test]
fn b10_limits_with_ten_failures_are_not_far_off() {
    let (delta, profile) = b10_coverage(10);
    assert!(
        delta.value() > 0.85 && profile.value() > 0.85,
        "{} {}",
        delta.value(),
        profile.value()
    );
}

#[test]
fn survival_limits_hold() {
    let fleets = fleets();
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let age = 1200.0;
    let mut held = 0;
    for _ in 0..fleets {
        let curve = kaplan_meier(&fleet(&mut random, 100), 0.95).unwrap();
        // A curve that starts anew past age 0 says nothing of the whole life.
        let step = curve.step_at(age).filter(|_| curve.given_age == 0.0);
        let limits = step.and_then(|step| step.limits);
        held += usize::from(limits.is_some_and(|limits| limits.contains(TRUTH.survival(age))));
    }
    let share = Share { held, of: fleets };
    println!(
        "survival at {age}, 100 failures, {fleets} fleets: {:.4}",
        share.value()
    );
    assert!(share.value() > 0.93 - share.slack(), "{}", share.value());
}

/// Many lives looked at now and then: the interval-censored estimate ends at its maximum, near the
/// truth.
#[test]
fn interval_censored_survival_finds_the_truth() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    for late in [false, true] {
        let mut lives = Vec::new();
        while lives.len() < 20_000 {
            let seen_late = late && random.random_bool(0.7);
            let entry: f64 = if seen_late {
                random.random_range(0.0..1400.0_f64).floor()
            } else {
                0.0
            };
            let (life, end) = (
                drawn_life(&mut random),
                entry + random.random_range(100.0..1200.0),
            );
            if life <= entry {
                continue;
            }
            let (mut alive_at, mut failed_by, mut look) = (entry, f64::INFINITY, entry);
            while failed_by.is_infinite() && look < end {
                look += random.random_range(30.0..300.0_f64).round();
                if look < life {
                    alive_at = look
                } else {
                    failed_by = look
                }
            }
            lives.push(IntervalLife {
                entry,
                alive_at,
                failed_by,
            });
        }
        let survival = turnbull(&lives).unwrap();
        assert!(survival.gap < 1e-8, "{survival:?}");
        let total: f64 = survival.masses.iter().map(|mass| mass.chance).sum();
        assert!((total - 1.0).abs() < 1e-6, "{total}");
        for age in [300.0, 600.0, 900.0] {
            let (least, greatest) = survival.survival_at(age);
            let truth = TRUTH.survival(age);
            assert!(
                least - 0.02 < truth && truth < greatest + 0.02,
                "{late} {age} {least} {greatest}"
            );
        }
    }
}

/// The interval of a crossing holds the true line's crossing; readings with one in ten outliers.
#[test]
fn crossing_intervals_hold() {
    let fleets = fleets();
    let mut random = ChaCha8Rng::seed_from_u64(11);
    for points in [6, 12, 40] {
        let mut held = 0;
        for _ in 0..fleets {
            let x: Vec<f64> = (0..points)
                .map(|_| random.random_range(0.0..24.0))
                .collect();
            let y: Vec<f64> = x
                .iter()
                .map(|x| {
                    let noise: f64 = (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
                    let outlier = if random.random_bool(0.1) { 5.0 } else { 1.0 };
                    12.7 - 0.012 * x + 0.03 * outlier * noise
                })
                .collect();
            let truth = (12.7 - 12.2) / 0.012;
            let forecast = forecast_crossing(&x, &y, 12.2, Side::Below, 0.95).unwrap();
            held += usize::from(match forecast.crossing {
                Crossing::Past => false,
                Crossing::Expected {
                    earliest, latest, ..
                } => earliest <= truth && latest.is_none_or(|latest| truth <= latest),
                Crossing::NotExpected { earliest } => earliest.is_some_and(|e| e <= truth),
            });
        }
        let share = Share { held, of: fleets };
        println!(
            "crossing, {points} readings, {fleets} series: {:.4}",
            share.value()
        );
        assert!(
            share.value() > 0.92 - share.slack(),
            "{points}: {}",
            share.value()
        );
    }
}
