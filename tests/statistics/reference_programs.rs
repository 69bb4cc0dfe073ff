//! Made-up lives, counts and predictions against the programs named in
//! `tests/reference/statistics/make_reference.py`, which wrote both.

use super::{close, near, number, rows};
use voltwane::statistics::lives::aalen_johansen::{CompetingLife, aalen_johansen};
use voltwane::statistics::lives::censoring_weight::outcomes_at;
use voltwane::statistics::lives::life::{IntervalLife, Life};
use voltwane::statistics::lives::log_rank::{log_rank, stratified_log_rank};
use voltwane::statistics::lives::turnbull::turnbull;
use voltwane::statistics::lives::weibull::fit_weibull_intervals;
use voltwane::statistics::rates::funnel::{funnel_limits, funnel_point};
use voltwane::statistics::rates::gamma_poisson::{fit_gamma_poisson, shrink_rates};
use voltwane::statistics::rates::negative_binomial::NegativeBinomial;
use voltwane::statistics::rates::rate_trend::{Counted, rate_change};
use voltwane::statistics::scores::brier::brier_score;
use voltwane::statistics::scores::concordance::{harrell_c, uno_c};

const EXPECTED: &str = include_str!("../reference/statistics/expected.csv");

#[track_caller]
fn expected(name: &str) -> f64 {
    let all = rows(EXPECTED);
    let row = all.iter().find(|row| row[0] == name);
    number(row.unwrap_or_else(|| panic!("no reference value named {name:?}"))[1])
}

fn interval_lives() -> Vec<IntervalLife> {
    rows(include_str!("../reference/statistics/interval_lives.csv"))
        .iter()
        .map(|row| IntervalLife {
            entry: number(row[0]),
            alive_at: number(row[1]),
            failed_by: number(row[2]),
        })
        .collect()
}

#[test]
fn interval_censored_weibull_agrees() {
    let fit = fit_weibull_intervals(&interval_lives()).unwrap();
    close(fit.law.shape, expected("interval weibull shape"), 1e-6);
    close(fit.law.scale, expected("interval weibull scale"), 1e-6);
    close(
        fit.log_likelihood,
        expected("interval weibull log-likelihood"),
        1e-9,
    );
    close(
        fit.ln_scale_variance,
        expected("interval weibull ln scale variance"),
        1e-6,
    );
    close(
        fit.ln_sigma_variance,
        expected("interval weibull ln sigma variance"),
        1e-6,
    );
    close(
        fit.covariance,
        expected("interval weibull covariance"),
        1e-6,
    );
}

/// The reference iteration leaves up to 1e-7 of log-likelihood, hence 1e-5 of some survivals.
#[test]
fn turnbull_agrees() {
    let mut lives = interval_lives();
    lives.iter_mut().for_each(|life| life.entry = 0.0);
    let survival = turnbull(&lives).unwrap();
    near(
        survival.log_likelihood,
        expected("turnbull log-likelihood"),
        2e-7,
    );
    assert!(
        survival.gap < 1e-6 && survival.iterations < 2000,
        "{}",
        survival.iterations
    );
    let mut compared = 0;
    for row in rows(EXPECTED) {
        if let Some(age) = row[0].strip_prefix("turnbull survival after ") {
            near(survival.survival_at(number(age)).0, number(row[1]), 2e-5);
            compared += 1;
        }
    }
    assert!(compared >= 10, "{compared}");
}

#[test]
fn competing_ends_agree() {
    let lives: Vec<CompetingLife> =
        rows(include_str!("../reference/statistics/competing_lives.csv"))
            .iter()
            .map(|row| CompetingLife {
                entry: 0.0,
                exit: number(row[0]),
                cause: (number(row[1]) as usize).checked_sub(1),
            })
            .collect();
    let curve = aalen_johansen(&lives, 2, 0.95).unwrap();
    for cause in 0..2 {
        for age in [10, 20, 30, 40, 50] {
            let of = format!("of cause {} at {age}", cause + 1);
            let step = curve.step_at(f64::from(age)).unwrap().causes[cause];
            close(step.incidence, expected(&format!("incidence {of}")), 1e-8);
            close(
                step.se.powi(2),
                expected(&format!("incidence variance {of}")),
                1e-8,
            );
            assert!(step.limits.unwrap().contains(step.incidence));
        }
    }
}

#[test]
fn competing_ends_with_late_entry_agree() {
    let lives: Vec<CompetingLife> = rows(include_str!(
        "../reference/statistics/late_competing_lives.csv"
    ))
    .iter()
    .map(|row| CompetingLife {
        entry: number(row[0]),
        exit: number(row[1]),
        cause: (number(row[2]) as usize).checked_sub(1),
    })
    .collect();
    let curve = aalen_johansen(&lives, 2, 0.95).unwrap();
    assert_eq!(curve.given_age, 0.0);
    for cause in 0..2 {
        for age in [5, 10, 20, 30, 40] {
            let of = format!("of cause {} at {age}", cause + 1);
            let found = curve.step_at(f64::from(age)).unwrap().causes[cause];
            near(
                found.incidence,
                expected(&format!("late incidence {of}")),
                1e-12,
            );
            near(
                found.se.powi(2),
                expected(&format!("late incidence variance {of}")),
                1e-12,
            );
        }
    }
}

#[test]
fn grouped_and_stratified_log_rank_agree() {
    let file = rows(include_str!("../reference/statistics/grouped_lives.csv"));
    let lives_of = |stratum: Option<&str>, group: &str| -> Vec<Life> {
        file.iter()
            .filter(|row| stratum.is_none_or(|stratum| row[0] == stratum) && row[1] == group)
            .map(|row| Life {
                entry: 0.0,
                exit: number(row[2]),
                event: row[3] == "1",
            })
            .collect()
    };
    let groups = |stratum| ["0", "1", "2"].map(|group| lives_of(stratum, group));
    let (all, first, second) = (groups(None), groups(Some("0")), groups(Some("1")));
    let plain = log_rank(&all.each_ref().map(|lives| &lives[..])).unwrap();
    close(plain.chi_square, expected("log-rank chi-square"), 1e-8);
    close(plain.p, expected("log-rank p"), 1e-8);
    let strata = [&first, &second].map(|stratum| stratum.each_ref().map(|lives| &lives[..]));
    let stratified = stratified_log_rank(&strata.each_ref().map(|stratum| &stratum[..])).unwrap();
    close(
        stratified.chi_square,
        expected("stratified log-rank chi-square"),
        1e-8,
    );
    close(stratified.p, expected("stratified log-rank p"), 1e-8);
    assert_eq!(
        (plain.degrees_of_freedom, stratified.degrees_of_freedom),
        (2, 2)
    );
}

#[test]
fn scores_of_predictions_agree() {
    let file = rows(include_str!("../reference/statistics/predictions.csv"));
    let chances: Vec<f64> = file.iter().map(|row| number(row[0])).collect();
    let times: Vec<f64> = file.iter().map(|row| number(row[1])).collect();
    let events: Vec<bool> = file.iter().map(|row| row[2] == "1").collect();
    let harrell = harrell_c(&chances, &times, &events).unwrap();
    close(harrell.c.unwrap(), expected("harrell c"), 1e-10);
    assert_eq!(harrell.concordant, expected("harrell concordant"));
    assert_eq!(harrell.discordant, expected("harrell discordant"));
    assert_eq!(harrell.tied, expected("harrell tied"));
    let uno = uno_c(&chances, &times, &events, 25.0).unwrap();
    close(uno.c.unwrap(), expected("uno c until 25"), 1e-8);
    let outcomes = outcomes_at(&times, &events, 20.0).unwrap();
    close(
        brier_score(&chances, &outcomes).unwrap().score,
        expected("brier at 20"),
        1e-8,
    );
}

#[test]
fn counts_with_spread_agree() {
    let file = rows(include_str!("../reference/statistics/counts.csv"));
    let counts: Vec<u64> = file.iter().map(|row| number(row[0]) as u64).collect();
    let exposures: Vec<f64> = file.iter().map(|row| number(row[1])).collect();
    let plain = NegativeBinomial::fit(&counts).unwrap();
    close(plain.mean, expected("negative binomial mean"), 1e-6);
    close(plain.size, expected("negative binomial size"), 1e-6);
    let law = fit_gamma_poisson(&counts, &exposures).unwrap();
    close(law.mean, expected("gamma-poisson mean"), 1e-6);
    close(law.size, expected("gamma-poisson size"), 1e-6);
    close(
        law.log_likelihood,
        expected("gamma-poisson log-likelihood"),
        1e-10,
    );
    let first = shrink_rates(&counts, &exposures, &law, 0.95).unwrap()[0];
    close(first.shrunk, expected("shrunk rate of unit 0"), 1e-6);
    close(first.limits.lower, expected("shrunk lower of unit 0"), 1e-6);
    close(first.limits.upper, expected("shrunk upper of unit 0"), 1e-6);
}

#[test]
fn rate_changes_agree() {
    let cases = [
        (4, "100", 6, "900"),
        (0, "50", 9, "400"),
        (3, "120", 0, "500"),
        (40, "1000", 210, "8000"),
        (1, "300", 12, "800"),
        (100_000, "1e+06", 300_700, "3e+06"),
    ];
    for (latest, exposure, before, before_exposure) in cases {
        let name = format!("rate change {latest}/{exposure} after {before}/{before_exposure}");
        let now = Counted {
            events: latest,
            exposure: number(exposure),
        };
        // Previous periods are pooled: two halves are as one whole.
        let half = number(before_exposure) / 2.0;
        let previous = [
            Counted {
                events: before / 3,
                exposure: half,
            },
            Counted {
                events: before - before / 3,
                exposure: half,
            },
        ];
        let change = rate_change(now, &previous, 0.95).unwrap();
        // Great counts lose digits in the logarithm of the gamma function.
        let tolerance = if latest > 1000 { 1e-6 } else { 1e-8 };
        close(change.p, expected(&format!("{name} p")), tolerance);
        let (lower, upper) = (
            expected(&format!("{name} lower")),
            expected(&format!("{name} upper")),
        );
        close(change.ratio_limits.lower, lower, 1e-8);
        if upper.is_finite() {
            close(change.ratio_limits.upper, upper, 1e-8);
        } else {
            assert_eq!(change.ratio_limits.upper, upper);
        }
    }
}

#[test]
fn funnel_limits_agree() {
    for (count, name) in [
        (0.5, "0.5"),
        (3.0, "3"),
        (20.0, "20"),
        (400.0, "400"),
        (1e5, "100000"),
    ] {
        // Limits of the rate at twice the exposure are half those of the count.
        let limits = funnel_limits(count / 2.0, 2.0, 0.95).unwrap();
        near(
            2.0 * limits.lower,
            expected(&format!("funnel lower at {name}")),
            1e-8 * count,
        );
        near(
            2.0 * limits.upper,
            expected(&format!("funnel upper at {name}")),
            1e-8 * count,
        );
    }
    let out = funnel_point(35, 10.0, 2.0, 0.95).unwrap();
    assert!(out.rate > out.limits.upper && out.p < 0.05);
    let within = funnel_point(22, 10.0, 2.0, 0.95).unwrap();
    assert!(within.limits.contains(within.rate) && within.p > 0.05);
}
