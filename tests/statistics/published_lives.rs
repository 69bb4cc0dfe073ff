//! Survival curves and Weibull fits of published and reference lives.

use super::close;
use voltwane::statistics::lives::kaplan_meier::kaplan_meier;
use voltwane::statistics::lives::life::Life;
use voltwane::statistics::lives::weibull::fit_weibull_sample;
use voltwane::statistics::lives::weibull_likelihood::{WeibullPrior, WeibullSample};
use voltwane::statistics::lives::weibull_profile::{
    constant_hazard_test, profile_b_life_limits, profile_scale_limits, profile_shape_limits,
};

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1: 20 units, 10 failures, 500 hours.
fn handbook_lives() -> Vec<Life> {
    let failures = [
        54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0,
    ];
    let survivors = std::iter::repeat_n(Life::censored(0.0, 500.0), 10);
    failures
        .iter()
        .map(|&hours| Life::failed(0.0, hours))
        .chain(survivors)
        .collect()
}

/// Nelson, J. Quality Technology 1:27-52, 1969: generator fans, as (hours, failed, number).
pub fn fan_lives() -> Vec<Life> {
    #[rustfmt::skip]
    let table = [
        (450, 1, 1), (460, 0, 1), (1150, 1, 2), (1560, 0, 1), (1600, 1, 1), (1660, 0, 1),
        (1850, 0, 5), (2030, 0, 3), (2070, 1, 2), (2080, 1, 1), (2200, 0, 1), (3000, 0, 4),
        (3100, 1, 1), (3200, 0, 1), (3450, 1, 1), (3750, 0, 2), (4150, 0, 4), (4300, 0, 4),
        (4600, 1, 1), (4850, 0, 4), (5000, 0, 3), (6100, 1, 1), (6100, 0, 3), (6300, 0, 1),
        (6450, 0, 2), (6700, 0, 1), (7450, 0, 1), (7800, 0, 2), (8100, 0, 2), (8200, 0, 1),
        (8500, 0, 3), (8750, 1, 1), (8750, 0, 2), (9400, 0, 1), (9900, 0, 1), (10100, 0, 3),
        (11500, 0, 1),
    ];
    let life = |hours: i32, failed| Life {
        entry: 0.0,
        exit: f64::from(hours),
        event: failed == 1,
    };
    table
        .iter()
        .flat_map(|&(hours, failed, number)| vec![life(hours, failed); number])
        .collect()
}

/// Made-up lives seen late: (entry, exit, failed) in months.
pub fn late_lives() -> Vec<Life> {
    #[rustfmt::skip]
    let table = [
        (0, 10, 1), (0, 25, 1), (0, 40, 1), (0, 60, 0), (5, 22, 1), (5, 60, 0), (8, 33, 1),
        (10, 41, 1), (12, 28, 1), (12, 60, 0), (15, 47, 1), (18, 39, 1), (20, 52, 1), (20, 60, 0),
        (24, 44, 1), (24, 60, 0), (30, 50, 1), (30, 60, 0), (36, 58, 1), (36, 60, 0),
    ];
    table
        .iter()
        .map(|&(entry, exit, failed)| Life {
            entry: f64::from(entry),
            exit: f64::from(exit),
            event: failed == 1,
        })
        .collect()
}

/// Freireich et al., Blood 21:699, 1963 (Gehan 1965): weeks of remission on 6-MP.
pub fn treated_lives() -> Vec<Life> {
    let failed = [6, 6, 6, 7, 10, 13, 16, 22, 23];
    let censored = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35];
    let failed = failed
        .iter()
        .map(|&weeks| Life::failed(0.0, f64::from(weeks)));
    failed
        .chain(
            censored
                .iter()
                .map(|&weeks| Life::censored(0.0, f64::from(weeks))),
        )
        .collect()
}

/// The placebo group of the same trial.
pub fn placebo_lives() -> Vec<Life> {
    [
        1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23,
    ]
    .iter()
    .map(|&weeks| Life::failed(0.0, f64::from(weeks)))
    .collect()
}

/// Expected values of one Weibull fit.
struct Expected {
    shape: f64,
    scale: f64,
    log_likelihood: f64,
    ln_scale_se: f64,
    ln_sigma_se: f64,
    covariance: f64,
    b10: f64,
    b10_delta: (f64, f64),
}

#[track_caller]
fn check_fit(lives: &[Life], expected: &Expected, tolerance: f64) {
    let sample = WeibullSample::from_lives(lives).unwrap();
    let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).unwrap();
    close(fit.law.shape, expected.shape, tolerance);
    close(fit.law.scale, expected.scale, tolerance);
    close(fit.log_likelihood, expected.log_likelihood, 1e-9);
    close(
        fit.ln_scale_variance.sqrt(),
        expected.ln_scale_se,
        tolerance,
    );
    close(
        fit.ln_sigma_variance.sqrt(),
        expected.ln_sigma_se,
        tolerance,
    );
    close(fit.covariance, expected.covariance, tolerance);
    close(fit.law.b_life(0.1), expected.b10, tolerance);
    let b10 = fit.b_life_limits(0.1, 0.95).unwrap();
    close(b10.lower, expected.b10_delta.0, tolerance);
    close(b10.upper, expected.b10_delta.1, tolerance);
}

/// Shape 1.7208, scale 606.528 printed in NIST/SEMATECH e-Handbook 8.4.1.3; further digits from
/// R 4.2.2 survival 3.5.3 survreg.
#[test]
fn handbook_fit_agrees() {
    let expected = Expected {
        shape: 1.720797261,
        scale: 606.527558,
        log_likelihood: -75.13461816,
        ln_scale_se: 0.205943909,
        ln_sigma_se: 0.2918127631,
        covariance: 0.0271278424,
        b10: 164.022439,
        b10_delta: (83.87513, 320.75492),
    };
    check_fit(&handbook_lives(), &expected, 1e-6);
    let sample = WeibullSample::from_lives(&handbook_lives()).unwrap();
    let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).unwrap();
    close(fit.law.shape, 1.7208, 5e-5);
    close(fit.law.scale, 606.5280, 1e-5);
    close(fit.shape_se(), 0.5021506035, 1e-6);
    close(fit.scale_se(), 124.9106562, 1e-6);
    close(fit.law.mean(), 540.7370255, 1e-6);
    close(fit.law.sd(), 323.8058243, 1e-6);
    let limits = [
        (fit.shape_limits(0.95), 0.971266102, 3.048745557),
        (fit.scale_limits(0.95), 405.0892935, 908.1347853),
        (fit.b_life_limits(0.01, 0.95), 10.38541, 168.77492),
        (fit.b_life_limits(0.5, 0.95), 340.20691, 706.24767),
        (fit.survival_limits(200.0, 0.95), 0.6697386, 0.9466760),
        (
            profile_shape_limits(&sample, &fit, 0.95),
            0.9056453588,
            2.885737866,
        ),
        (
            profile_b_life_limits(&sample, &fit, 0.1, 0.95),
            59.85455425,
            271.9495176,
        ),
    ];
    for (limits, lower, upper) in limits {
        close(limits.clone().unwrap().lower, lower, 1e-6);
        close(limits.unwrap().upper, upper, 1e-6);
    }
}

/// Shape 1.058, scale 26,297 hours are the values commonly printed for these fans; further digits
/// from R 4.2.2 survival 3.5.3 survreg.
#[test]
fn fan_fit_agrees() {
    let expected = Expected {
        shape: 1.05844585,
        scale: 26296.84517,
        log_likelihood: -135.1527199,
        ln_scale_se: 0.465889661,
        ln_sigma_se: 0.2534385351,
        covariance: 0.09572761122,
        b10: 3137.240778,
        b10_delta: (1686.20737, 5836.93314),
    };
    check_fit(&fan_lives(), &expected, 1e-6);
    let sample = WeibullSample::from_lives(&fan_lives()).unwrap();
    let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).unwrap();
    let shape = profile_shape_limits(&sample, &fit, 0.95).unwrap();
    close(shape.lower, 0.6059741895, 1e-6);
    close(shape.upper, 1.657940857, 1e-6);
    let b10 = profile_b_life_limits(&sample, &fit, 0.1, 0.95).unwrap();
    close(b10.lower, 1420.246577, 1e-6);
    close(b10.upper, 5662.484314, 1e-6);
    // Twice the gain over the exponential fit, log-likelihood -135.1772225.
    close(
        constant_hazard_test(&sample, &fit).unwrap().statistic,
        2.0 * 0.0245026,
        1e-5,
    );
    let scale = profile_scale_limits(&sample, &fit, 0.95).unwrap();
    let of_fraction = profile_b_life_limits(&sample, &fit, -f64::exp_m1(-1.0), 0.95).unwrap();
    close(scale.lower, of_fraction.lower, 1e-9);
    close(scale.upper, of_fraction.upper, 1e-9);
}

/// R 4.2.2 nlm on the truncated likelihood; lifelines 0.30.3 `entry=` gives 1.793609, 53.750245.
#[test]
fn late_entry_is_not_ignored() {
    let expected = Expected {
        shape: 1.793606014,
        scale: 53.75022851,
        log_likelihood: -61.74990874,
        ln_scale_se: 0.1595029589,
        ln_sigma_se: 0.3352534012,
        covariance: -0.01311319966,
        b10: 15.32808894,
        b10_delta: (5.923944478, 39.66112635),
    };
    // nlm stops at about six digits.
    check_fit(&late_lives(), &expected, 1e-5);
}

/// R 4.2.2 survfit, conf.type "log-log": (age, at risk, failures, S, SE, lower, upper, H, SE of H).
#[test]
fn survival_curves_agree() {
    type Row = (f64, usize, usize, f64, f64, f64, f64, f64, f64);
    let treated: [Row; 7] = [
        (
            6.0, 21, 3, 0.8571429, 0.0763604, 0.6197180, 0.9515517, 0.1428571, 0.0824786,
        ),
        (
            7.0, 17, 1, 0.8067227, 0.0869353, 0.5631466, 0.9228090, 0.2016807, 0.1013061,
        ),
        (
            10.0, 15, 1, 0.7529412, 0.0963497, 0.5031995, 0.8893618, 0.2683473, 0.1212740,
        ),
        (
            13.0, 12, 1, 0.6901961, 0.1068147, 0.4316102, 0.8490660, 0.3516807, 0.1471456,
        ),
        (
            16.0, 11, 1, 0.6274510, 0.1140539, 0.3675109, 0.8049122, 0.4425898, 0.1729632,
        ),
        (
            22.0, 7, 1, 0.5378151, 0.1282338, 0.2677789, 0.7467907, 0.5854469, 0.2243311,
        ),
        (
            23.0, 6, 1, 0.4481793, 0.1345915, 0.1880520, 0.6801426, 0.7521136, 0.2794677,
        ),
    ];
    let late: [Row; 13] = [
        (
            10.0, 7, 1, 0.8571429, 0.1322600, 0.3340539, 0.9785611, 0.1428571, 0.1428571,
        ),
        (
            22.0, 13, 1, 0.7912088, 0.1375424, 0.3666857, 0.9467986, 0.2197802, 0.1622508,
        ),
        (
            25.0, 14, 1, 0.7346939, 0.1388441, 0.3587794, 0.9114422, 0.2912088, 0.1772776,
        ),
        (
            28.0, 13, 1, 0.6781790, 0.1391912, 0.3348191, 0.8712449, 0.3681319, 0.1932473,
        ),
        (
            33.0, 14, 1, 0.6297376, 0.1374200, 0.3115893, 0.8324317, 0.4395604, 0.2060256,
        ),
        (
            39.0, 15, 1, 0.5877551, 0.1345188, 0.2905332, 0.7957268, 0.5062271, 0.2165433,
        ),
        (
            40.0, 14, 1, 0.5457726, 0.1312983, 0.2673446, 0.7573244, 0.5776557, 0.2280198,
        ),
        (
            41.0, 13, 1, 0.5037901, 0.1277341, 0.2428448, 0.7174108, 0.6545788, 0.2406454,
        ),
        (
            44.0, 12, 1, 0.4618076, 0.1237967, 0.2175993, 0.6761108, 0.7379121, 0.2546658,
        ),
        (
            47.0, 11, 1, 0.4198251, 0.1194492, 0.1920237, 0.6334997, 0.8288212, 0.2704055,
        ),
        (
            50.0, 10, 1, 0.3778426, 0.1146449, 0.1664471, 0.5896109, 0.9288212, 0.2883039,
        ),
        (
            52.0, 9, 1, 0.3358601, 0.1093235, 0.1411527, 0.5444380, 1.0399323, 0.3089738,
        ),
        (
            58.0, 8, 1, 0.2938776, 0.1034055, 0.1164084, 0.4979331, 1.1649323, 0.3333014,
        ),
    ];
    for (lives, rows) in [(treated_lives(), &treated[..]), (late_lives(), &late[..])] {
        let curve = kaplan_meier(&lives, 0.95).unwrap();
        assert_eq!(curve.steps.len(), rows.len());
        for (step, row) in curve.steps.iter().zip(rows) {
            assert_eq!((step.age, step.at_risk, step.events), (row.0, row.1, row.2));
            let limits = step.limits.unwrap();
            let got = [
                (step.survival, row.3),
                (step.survival_se.unwrap(), row.4),
                (limits.lower, row.5),
                (limits.upper, row.6),
                (step.cumulative_hazard, row.7),
                (step.cumulative_hazard_se, row.8),
            ];
            // Seven decimals are given.
            for (got, expected) in got {
                assert!(
                    (got - expected).abs() < 6e-8,
                    "{row:?}: {got} against {expected}"
                );
            }
        }
    }
}

/// R 4.2.2 survfit: medians with log-log limits, and `summary(rmean =)`.
#[test]
fn medians_and_restricted_means_agree() {
    let treated = kaplan_meier(&treated_lives(), 0.95).unwrap();
    let placebo = kaplan_meier(&placebo_lives(), 0.95).unwrap();
    let (of_treated, of_placebo) = (treated.median(), placebo.median());
    assert_eq!(
        (of_treated.age, of_treated.lower, of_treated.upper),
        (Some(23.0), Some(13.0), None)
    );
    assert_eq!((of_placebo.age, of_placebo.lower), (Some(8.0), Some(4.0)));
    assert_eq!(of_placebo.upper, Some(11.0));
    let rows = [
        (&treated, 15.0, 12.91652661, 0.7695172289),
        (&treated, 20.0, 16.11652661, 1.251560196),
        (&treated, 22.0, 17.37142857, 1.459958762),
        (&treated, 23.0, 17.9092437, 1.553189978),
        (&treated, 35.0, 23.28739496, 2.827467623),
        (&placebo, 15.0, 7.857142857, 1.054707006),
        (&placebo, 20.0, 8.428571429, 1.268082683),
        (&placebo, 22.0, 8.619047619, 1.354385152),
        (&placebo, 23.0, 8.666666667, 1.377390041),
    ];
    for (curve, until, mean, se) in rows {
        let got = curve.restricted_mean(until).unwrap();
        close(got.mean, mean, 1e-9);
        close(got.se, se, 1e-9);
    }
    assert!(treated.restricted_mean(36.0).is_err());
}
