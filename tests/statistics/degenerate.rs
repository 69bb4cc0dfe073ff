//! Input no estimator should choke on: nothing, one row, ties, no events, all events, NaN, huge
//! numbers. Each gives a typed error or a stated answer, never NaN.

use voltwane::statistics::FitError;
use voltwane::statistics::lives::aalen_johansen::{CompetingLife, aalen_johansen};
use voltwane::statistics::lives::age_replacement::{
    best_replacement_age, saving_of_replacing_now_at,
};
use voltwane::statistics::lives::censoring_weight::{Outcome, outcomes_at};
use voltwane::statistics::lives::kaplan_meier::kaplan_meier;
use voltwane::statistics::lives::life::{IntervalLife, Life};
use voltwane::statistics::lives::mean_cumulative::{Watched, mean_cumulative};
use voltwane::statistics::lives::turnbull::turnbull;
use voltwane::statistics::lives::weibull::fit_weibull;
use voltwane::statistics::lives::weibull_law::Weibull;
use voltwane::statistics::rates::false_discovery::adjusted_p;
use voltwane::statistics::rates::funnel::funnel_limits;
use voltwane::statistics::rates::gamma_poisson::{fit_gamma_poisson, shrink_rates};
use voltwane::statistics::rates::negative_binomial::NegativeBinomial;
use voltwane::statistics::rates::poisson_rate::{garwood_limits, poisson_rate};
use voltwane::statistics::rates::rate_trend::{Counted, rate_change};
use voltwane::statistics::rates::wilson::wilson_limits;
use voltwane::statistics::scores::brier::brier_score;
use voltwane::statistics::scores::calibration::calibration;
use voltwane::statistics::slopes::theil_sen::theil_sen;

#[test]
fn bad_lives_stop_every_estimator_of_lives() {
    let bad = [
        Life::failed(f64::NAN, 3.0),
        Life::failed(0.0, f64::NAN),
        Life::failed(0.0, f64::INFINITY),
        Life::failed(-1.0, 3.0),
        Life::failed(3.0, 3.0),
        Life::failed(0.0, 0.0),
        Life::censored(4.0, 3.0),
    ];
    for life in bad {
        let lives = [Life::failed(0.0, 2.0), Life::censored(0.0, 5.0), life];
        assert!(kaplan_meier(&lives, 0.95).is_err(), "{life:?}");
        assert!(
            matches!(fit_weibull(&lives), Err(FitError::Input(_))),
            "{life:?}"
        );
        let interval = IntervalLife::from(life);
        assert!(turnbull(&[interval]).is_err(), "{interval:?}");
        let cause = life.event.then_some(0);
        let competing = CompetingLife {
            entry: life.entry,
            exit: life.exit,
            cause,
        };
        assert!(aalen_johansen(&[competing], 1, 0.95).is_err(), "{life:?}");
        let watched = Watched {
            start: life.entry,
            end: life.exit,
            events: &[],
        };
        assert!(mean_cumulative(&[watched], 0.95).is_err(), "{life:?}");
    }
}

#[test]
fn a_confidence_is_between_zero_and_one() {
    let lives = [Life::failed(0.0, 2.0), Life::failed(0.0, 3.0)];
    for confidence in [0.0, 1.0, -0.5, 95.0, f64::NAN] {
        assert!(kaplan_meier(&lives, confidence).is_err());
        assert!(garwood_limits(3, confidence).is_err());
        assert!(wilson_limits(3, 10, confidence).is_err());
        assert!(theil_sen(&[1.0, 2.0], &[1.0, 2.0], confidence).is_err());
        assert!(
            fit_weibull(&lives)
                .unwrap()
                .b_life_limits(0.1, confidence)
                .is_err()
        );
    }
}

/// Counts up to the greatest there is: limits hold the count, stay in order and come at once.
#[test]
fn huge_counts_have_limits() {
    for count in [1, 1_000, 1_000_000, 10_000_000_000, u64::MAX] {
        let limits = garwood_limits(count, 0.95).unwrap();
        assert!(limits.contains(count as f64), "{count} {limits:?}");
        let reach = 1.959963985 * (count as f64).sqrt();
        if count >= 1_000 {
            assert!(
                (limits.upper - count as f64) / reach < 1.1,
                "{count} {limits:?}"
            );
            assert!(
                (count as f64 - limits.lower) / reach > 0.9,
                "{count} {limits:?}"
            );
        }
        let rate = poisson_rate(count, 1e300, 1.0, 0.95).unwrap();
        assert!(rate.rate.is_finite() && rate.limits.contains(rate.rate));
        let share = wilson_limits(count / 2, count, 0.95).unwrap();
        assert!(share.lower >= 0.0 && share.upper <= 1.0);
        let (now, before) = (
            Counted {
                events: count / 3,
                exposure: 1.0,
            },
            Counted {
                events: count / 3,
                exposure: 1.0,
            },
        );
        let change = rate_change(now, &[before], 0.95).unwrap();
        assert!((0.0..=1.0).contains(&change.p), "{count} {change:?}");
        assert!(!change.ratio_limits.lower.is_nan() && !change.ratio_limits.upper.is_nan());
    }
    for exposure in [1e-6, 1.0, 1e6, 1e12] {
        let limits = funnel_limits(3.0, exposure, 0.95).unwrap();
        assert!(
            limits.lower <= limits.upper && limits.upper.is_finite(),
            "{exposure} {limits:?}"
        );
    }
}

/// Lives in the smallest and the greatest units.
#[test]
fn a_fit_does_not_depend_on_the_unit() {
    let lives = |unit: f64| -> Vec<Life> {
        (1..40)
            .map(|k| Life {
                entry: unit * f64::from(k % 3),
                exit: unit * f64::from(3 + k * k % 29),
                event: k % 4 != 0,
            })
            .collect()
    };
    let shape = fit_weibull(&lives(1.0)).unwrap().law.shape;
    for unit in [1e-100, 1e-6, 1e6, 1e100] {
        let fit = fit_weibull(&lives(unit)).unwrap();
        assert!((fit.law.shape / shape - 1.0).abs() < 1e-8, "{unit} {fit:?}");
        assert!(fit.log_likelihood.is_finite() && fit.shape_se().is_finite());
    }
}

/// Two failures at nearly one age, lives almost all entered just before their end, one failure
/// among thousands: an answer or a typed error, and no NaN.
#[test]
fn lives_that_say_little_do_not_break_the_fit() {
    let rare: Vec<Life> = (0..5000)
        .map(|k| Life {
            entry: 0.0,
            exit: 100.0 + f64::from(k % 50),
            event: k == 7,
        })
        .collect();
    let late: Vec<Life> = (0..200)
        .map(|k| Life {
            entry: 99.0,
            exit: 99.5 + f64::from(k % 7) * 0.01,
            event: k % 2 == 0,
        })
        .collect();
    let close = vec![Life::failed(0.0, 10.0), Life::failed(0.0, 10.0 + 1e-9)];
    for lives in [rare, late, close] {
        match fit_weibull(&lives) {
            Ok(fit) => {
                let limits = fit.b_life_limits(0.1, 0.95).unwrap();
                assert!(
                    fit.law.shape > 0.0 && fit.law.scale > 0.0 && fit.log_likelihood.is_finite()
                );
                assert!(!limits.lower.is_nan() && !limits.upper.is_nan(), "{fit:?}");
            }
            Err(error) => assert!(
                matches!(
                    error,
                    FitError::NoMaximum { .. } | FitError::NotConverged { .. }
                ),
                "{error}"
            ),
        }
    }
}

#[test]
fn outcomes_all_alike_are_told() {
    let all = |failed| {
        vec![
            Outcome {
                failed,
                weight: 1.0
            };
            4
        ]
    };
    let chances = [0.1, 0.2, 0.3, 0.4];
    assert!(matches!(
        calibration(&chances, &all(false), 0.95),
        Err(FitError::NoEvents { .. })
    ));
    assert!(matches!(
        calibration(&chances, &all(true), 0.95),
        Err(FitError::NoMaximum { .. })
    ));
    assert_eq!(brier_score(&chances, &all(false)).unwrap().skill, None);
    let mixed: Vec<Outcome> = [false, false, true, true]
        .map(|failed| Outcome {
            failed,
            weight: 1.0,
        })
        .to_vec();
    assert!(
        calibration(&[0.2; 4], &mixed, 0.95).is_err(),
        "equal chances have no slope"
    );
    assert!(
        calibration(&chances, &mixed, 0.95).is_err(),
        "told apart without error"
    );
    assert!(calibration(&[0.0, 0.2, 0.3, 1.0], &mixed, 0.95).is_err());
    let lost = vec![
        Outcome {
            failed: false,
            weight: 0.0
        };
        4
    ];
    assert!(brier_score(&chances, &lost).is_err());
    assert!(outcomes_at(&[1.0, 0.0], &[true, false], 1.0).is_err());
}

#[test]
fn lists_that_do_not_pair_up_are_refused() {
    assert!(theil_sen(&[1.0, 2.0], &[1.0], 0.95).is_err());
    assert!(fit_gamma_poisson(&[1, 2], &[1.0]).is_err());
    assert!(brier_score(&[0.5], &[]).is_err());
    assert!(adjusted_p(&[0.5, 1.5]).is_err() && adjusted_p(&[f64::NAN]).is_err());
    assert_eq!(adjusted_p(&[]).unwrap(), Vec::<f64>::new());
    assert!(
        NegativeBinomial::new(1.0, 0.0).is_err() && NegativeBinomial::new(f64::NAN, 1.0).is_err()
    );
    assert!(NegativeBinomial::fit(&[]).is_err());
}

/// One unit, and one unit with a huge count among quiet ones.
#[test]
fn shrinkage_takes_extremes() {
    let one = fit_gamma_poisson(&[3], &[2.0]).unwrap();
    assert_eq!((one.mean, one.size), (1.5, f64::INFINITY));
    let (counts, exposures) = ([0, 0, 0, 100_000], [1.0, 1.0, 1.0, 1e-3]);
    let law = fit_gamma_poisson(&counts, &exposures).unwrap();
    for rate in shrink_rates(&counts, &exposures, &law, 0.95).unwrap() {
        assert!(
            rate.shrunk.is_finite() && rate.limits.contains(rate.shrunk),
            "{law:?} {rate:?}"
        );
    }
}

#[test]
fn savings_stay_finite_at_any_age() {
    for shape in [0.5, 1.0, 3.0, 40.0] {
        let law = Weibull {
            shape,
            scale: 1500.0,
        };
        for age in [0.0, 1.0, 1500.0, 1e5, 1e9] {
            let now = saving_of_replacing_now_at(&law, age, 90.0, 150.0, 600.0).unwrap();
            assert!(
                now.saving.is_finite() && now.saving <= 450.0 + 1e-9,
                "{shape} {age} {now:?}"
            );
            assert!(
                (0.0..=90.0).contains(&now.expected_service),
                "{shape} {age} {now:?}"
            );
        }
        assert!(best_replacement_age(&law, 150.0, 600.0).unwrap().cost_rate > 0.0);
    }
}

/// By hand: five lives fail in turn, the last alone at risk, and an older life is seen
/// from later on. The curve keeps its steps and ends at 0; it does not begin anew and lose them.
#[test]
fn a_late_empty_risk_set_does_not_lose_the_curve() {
    let mut lives: Vec<Life> = (1..=5)
        .map(|age| Life::failed(0.0, f64::from(age)))
        .collect();
    lives.push(Life::censored(6.0, 8.0));
    let curve = kaplan_meier(&lives, 0.95).expect("a curve");
    let survival: Vec<f64> = curve.steps.iter().map(|step| step.survival).collect();
    let by_hand = [0.8, 0.6, 0.4, 0.2, 0.0];
    assert_eq!(survival.len(), by_hand.len());
    for (found, expected) in survival.iter().zip(by_hand) {
        assert!((found - expected).abs() < 1e-12, "{survival:?}");
    }
    assert_eq!(curve.given_age, 0.0);
    // Emptied at the first failure, the curve does begin anew.
    let lives = [
        Life::failed(0.0, 1.0),
        Life::failed(2.0, 3.0),
        Life::failed(2.0, 4.0),
    ];
    let curve = kaplan_meier(&lives, 0.95).expect("a curve");
    assert_eq!((curve.given_age, curve.steps.len()), (1.0, 2));
}

/// As with survival: what ended before the last lives entered is not lost, and a first risk set
/// emptied at once does not hold the curve.
#[test]
fn a_late_empty_risk_set_does_not_lose_the_incidence() {
    let life = |entry: f64, exit: f64, cause| CompetingLife { entry, exit, cause };
    let mut lives: Vec<CompetingLife> = (1..=5)
        .map(|age| life(0.0, f64::from(age), Some(usize::from(age % 2 == 0))))
        .collect();
    lives.push(life(6.0, 8.0, None));
    let curve = aalen_johansen(&lives, 2, 0.95).expect("a curve");
    assert_eq!((curve.given_age, curve.steps.len()), (0.0, 5));
    // Ages 1, 3 and 5 by the first cause, 2 and 4 by the second, each a fifth of the lives.
    for (age, first, second) in [(2.0, 0.2, 0.2), (4.5, 0.4, 0.4), (8.0, 0.6, 0.4)] {
        for (cause, by_hand) in [first, second].into_iter().enumerate() {
            let found = curve.incidence_at(age, cause).expect("followed");
            assert!(
                (found - by_hand).abs() < 1e-12,
                "{age} {cause}: {found} against {by_hand}"
            );
        }
    }
    // Ends past the gap are not added to a curve that is complete.
    lives.push(life(6.0, 7.0, Some(0)));
    let longer = aalen_johansen(&lives, 2, 0.95).expect("a curve");
    assert_eq!(longer.steps, curve.steps);

    let lives = [
        life(0.0, 1.0, Some(0)),
        life(2.0, 3.0, Some(1)),
        life(2.0, 4.0, Some(0)),
    ];
    let curve = aalen_johansen(&lives, 2, 0.95).expect("a curve");
    assert_eq!((curve.given_age, curve.steps.len()), (1.0, 2));
    assert_eq!(curve.incidence_at(3.5, 1), Some(0.5));
}
