//! Rates, shares, slopes, scores and replacement ages against published and computed tables.

use super::published_lives::{placebo_lives, treated_lives};
use super::{close, near, number, rows};
use voltwane::statistics::lives::age_replacement::{
    age_replacement_cost_rate, best_replacement_age,
};
use voltwane::statistics::lives::censoring_weight::Outcome;
use voltwane::statistics::lives::log_rank::{log_rank, stratified_log_rank};
use voltwane::statistics::lives::mean_cumulative::{Watched, mean_cumulative};
use voltwane::statistics::lives::weibull_law::Weibull;
use voltwane::statistics::rates::false_discovery::adjusted_p;
use voltwane::statistics::rates::negative_binomial::NegativeBinomial;
use voltwane::statistics::rates::poisson_rate::{garwood_limits, poisson_rate};
use voltwane::statistics::rates::wilson::wilson_limits;
use voltwane::statistics::regression::design::Design;
use voltwane::statistics::regression::log_linear::{Answers, log_linear};
use voltwane::statistics::scores::brier::brier_score;
use voltwane::statistics::scores::calibration::{calibration, log_loss};
use voltwane::statistics::scores::concordance::harrell_c;
use voltwane::statistics::slopes::theil_sen::theil_sen;

/// Garwood, Biometrika 28:437, 1936; digits from scipy 1.17.1 chi2.ppf. The upper limit 3.689 of
/// no events is also in the documentation of R epitools pois.exact.
#[test]
fn exact_poisson_limits_agree() {
    #[rustfmt::skip]
    let table = [
        (0, 0.000000, 3.688879, 0.000000, 2.995732), (1, 0.025318, 5.571643, 0.051293, 4.743865),
        (2, 0.242209, 7.224688, 0.355362, 6.295794), (3, 0.618672, 8.767273, 0.817691, 7.753657),
        (4, 1.089865, 10.241589, 1.366318, 9.153519), (5, 1.623486, 11.668332, 1.970150, 10.513035),
        (6, 2.201894, 13.059474, 2.613015, 11.842396), (7, 2.814363, 14.422675, 3.285316, 13.148114),
        (8, 3.453832, 15.763189, 3.980823, 14.434650), (9, 4.115373, 17.084803, 4.695228, 15.705216),
        (10, 4.795389, 18.390356, 5.425406, 16.962219), (15, 8.395386, 24.740219, 9.246330, 23.097130),
        (20, 12.216520, 30.888378, 13.254652, 29.062019), (50, 37.110964, 65.918767, 38.964733, 63.287074),
        (100, 81.363991, 121.626794, 84.139277, 118.079273),
    ];
    for (count, lower_95, upper_95, lower_90, upper_90) in table {
        for (confidence, lower, upper) in [(0.95, lower_95, upper_95), (0.9, lower_90, upper_90)] {
            let limits = garwood_limits(count, confidence).unwrap();
            near(limits.lower, lower, 6e-7);
            near(limits.upper, upper, 6e-7);
        }
    }
    // With no events the upper limit is -ln(tail).
    close(garwood_limits(0, 0.9).unwrap().upper, -0.05_f64.ln(), 1e-12);
    let rate = poisson_rate(3, 1500.0, 1000.0, 0.95).unwrap();
    close(rate.rate, 2.0, 1e-12);
    near(rate.limits.upper, 8.767273 / 1.5, 6e-7);
}

/// Newcombe, Statistics in Medicine 17:857, 1998, Table I for the first four rows (from memory);
/// digits of all from statsmodels 0.15.0 proportion_confint("wilson").
#[test]
fn wilson_limits_agree() {
    let table = [
        (81, 263, 0.2552885, 0.3662096),
        (15, 148, 0.0623864, 0.1604872),
        (0, 20, 0.0000000, 0.1611252),
        (1, 29, 0.0061132, 0.1717552),
        (0, 10, 0.0000000, 0.2775328),
        (10, 10, 0.7224672, 1.0000000),
        (5, 10, 0.2365931, 0.7634069),
        (1, 10, 0.0178762, 0.4041500),
        (3, 70, 0.0146815, 0.1185967),
        (12, 70, 0.1008772, 0.2761665),
    ];
    for (successes, trials, lower, upper) in table {
        let limits = wilson_limits(successes, trials, 0.95).unwrap();
        near(limits.lower, lower, 6e-8);
        near(limits.upper, upper, 6e-8);
    }
}

/// Benjamini and Hochberg, J. Roy. Statist. Soc. B 57:289, 1995, thrombolysis example (p from
/// memory); adjusted by statsmodels 0.15.0 multipletests("fdr_bh").
#[test]
fn adjusted_p_agree() {
    let p = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
        0.5719, 0.6528, 0.7590, 1.0000,
    ];
    let expected = [
        0.001500, 0.003000, 0.009500, 0.035625, 0.060300, 0.063857, 0.063857, 0.064500, 0.076500,
        0.486000, 0.581182, 0.714875, 0.753231, 0.813214, 1.000000,
    ];
    // Given backwards, the answers come backwards.
    let backwards: Vec<f64> = p.iter().rev().copied().collect();
    let adjusted = adjusted_p(&backwards).unwrap();
    for (got, expected) in adjusted.iter().rev().zip(expected) {
        near(*got, expected, 6e-7);
    }
    assert_eq!(adjusted.iter().filter(|&&p| p <= 0.05).count(), 4);
}

/// Sen, J. Amer. Statist. Assoc. 63:1379, 1968, for the first series (4; 26/7, 35/8, from memory);
/// both by scipy 1.17.1 theilslopes.
#[test]
fn robust_slopes_agree() {
    let x = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0];
    let y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0];
    for confidence in [0.93, 0.95] {
        let line = theil_sen(&x, &y, confidence).unwrap();
        let limits = line.slope_limits.unwrap();
        close(line.slope, 4.0, 1e-12);
        close(limits.lower, 26.0 / 7.0, 1e-12);
        close(limits.upper, 35.0 / 8.0, 1e-12);
        close(line.intercept_of_medians, 4.0, 1e-12);
    }
    let months = [0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0, 30.0];
    let volts = [
        12.71, 12.69, 12.70, 12.66, 12.64, 12.65, 12.40, 12.58, 12.55, 12.52,
    ];
    let line = theil_sen(&months, &volts, 0.95).unwrap();
    let limits = line.slope_limits.unwrap();
    close(line.slope, -0.02 / 3.0, 1e-8);
    close(limits.lower, -0.008666666667, 1e-8);
    close(limits.upper, -0.005555555556, 1e-8);
    close(line.intercept_of_medians, 12.735, 1e-10);
    close(line.intercept, 12.72, 1e-10);
}

/// Mantel's statistic for the remission trial: 16.79 in textbooks; digits from R 4.2.2 survdiff.
#[test]
fn log_rank_agrees() {
    let (treated, placebo) = (treated_lives(), placebo_lives());
    let test = log_rank(&[&treated, &placebo]).unwrap();
    close(test.chi_square, 16.79294099, 1e-8);
    close(test.p, 4.168809e-05, 1e-6);
    close(test.expected[0], 19.25050095, 1e-8);
    close(test.expected[1], 10.74949905, 1e-8);
    assert_eq!(
        (test.degrees_of_freedom, &test.observed[..]),
        (1, &[9.0, 21.0][..])
    );
    // Two strata alike have twice the excess and twice the variance.
    let stratum: &[&[_]] = &[&treated, &placebo];
    let twice = stratified_log_rank(&[stratum, stratum]).unwrap();
    close(twice.chi_square, 2.0 * 16.79294099, 1e-8);
}

/// Nelson and Doganaksoy 1989, valve seats of 41 diesel engines (data as in R survival
/// `valveSeat`); means and robust variances checked with R survfit(id =), Nelson's variance by a
/// separate program that follows his definition.
#[test]
fn mean_cumulative_function_agrees() {
    let file = rows(include_str!("../reference/statistics/valve_seats.csv"));
    let repairs: Vec<Vec<f64>> = file
        .iter()
        .map(|row| row[2].split_whitespace().map(number).collect())
        .collect();
    let engines: Vec<Watched> = file
        .iter()
        .zip(&repairs)
        .map(|(row, events)| Watched {
            start: 0.0,
            end: number(row[1]),
            events,
        })
        .collect();
    let steps = mean_cumulative(&engines, 0.95).unwrap();
    let expected = rows(include_str!(
        "../reference/statistics/valve_seats_expected.csv"
    ));
    assert_eq!((engines.len(), steps.len()), (41, expected.len()));
    for (step, row) in steps.iter().zip(expected) {
        assert_eq!(step.age, number(row[0]));
        assert_eq!(
            (step.at_risk as f64, step.events as f64),
            (number(row[1]), number(row[2]))
        );
        near(step.mean, number(row[3]), 6e-8);
        near(step.variance, number(row[4]), 6e-10);
        near(step.nelson_variance.unwrap(), number(row[5]), 6e-10);
    }
    let last = steps[steps.len() - 1];
    near(last.limits.lower, 1.03829, 6e-6);
    near(last.limits.upper, 2.29213, 6e-6);
}

/// statsmodels 0.15.0 Logit and GLM with offset.
#[test]
fn calibration_agrees() {
    let chances = [
        0.02, 0.05, 0.05, 0.08, 0.10, 0.12, 0.15, 0.18, 0.20, 0.22, 0.25, 0.30, 0.35, 0.40, 0.45,
        0.50, 0.60, 0.70, 0.80, 0.90,
    ];
    let failed = [0, 0, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 1, 1, 0, 1, 1, 1];
    let outcomes = failed.map(|failed| Outcome {
        failed: failed == 1,
        weight: 1.0,
    });
    let fit = calibration(&chances, &outcomes, 0.95).unwrap();
    close(fit.intercept.value, 0.64241909, 1e-6);
    close(fit.intercept.se, 0.73138883, 1e-6);
    close(fit.slope.value, 1.18038692, 1e-6);
    close(fit.slope.se, 0.55052062, 1e-6);
    close(fit.in_the_large.value, 0.49203069, 1e-6);
    close(fit.in_the_large.se, 0.54636743, 1e-6);
    close(fit.ratio, 1.2461059, 1e-7);
    close(
        brier_score(&chances, &outcomes).unwrap().score,
        0.16435,
        1e-10,
    );
    close(log_loss(&chances, &outcomes).unwrap(), 0.4914082747, 1e-9);
    // scikit-learn 1.9.1 AUC: C when the failed all fail first.
    let times = failed.map(|failed| if failed == 1 { 1.0 } else { 2.0 });
    let events = failed.map(|failed| failed == 1);
    close(
        harrell_c(&chances, &times, &events).unwrap().c.unwrap(),
        0.84375,
        1e-12,
    );
}

/// lifelines 0.30.3 concordance_index and R 4.2.2 concordance().
#[test]
fn harrell_c_agrees() {
    let times = [5.0, 8.0, 8.0, 12.0, 15.0, 15.0, 20.0, 24.0, 30.0, 36.0];
    let events = [1, 1, 0, 1, 0, 1, 1, 0, 1, 0].map(|event| event == 1);
    let lives = [10.0, 14.0, 20.0, 13.0, 25.0, 22.0, 22.0, 35.0, 28.0, 40.0];
    let pairs = harrell_c(&lives.map(|life: f64| -life), &times, &events).unwrap();
    assert_eq!(
        (pairs.concordant, pairs.discordant, pairs.tied),
        (30.0, 1.0, 1.0)
    );
    assert_eq!(pairs.c, Some(0.953125));
}

/// scipy 1.17.1 nbinom.sf and poisson.sf.
#[test]
fn count_tails_agree() {
    let table = [
        (2.0, 1.5, 1, 0.7194341411),
        (2.0, 1.5, 3, 0.3071741036),
        (2.0, 1.5, 5, 0.1190395627),
        (2.0, 1.5, 8, 0.0265813309),
        (2.0, 1.5, 10, 0.0095103375),
        (2.0, 1.5, 15, 0.0006897242),
        (0.8, 0.5, 1, 0.3798263271),
        (0.8, 0.5, 3, 0.1009316576),
        (0.8, 0.5, 5, 0.0314468442),
        (0.8, 0.5, 10, 0.0020769145),
        (5.0, 3.0, 5, 0.4753470421),
        (5.0, 3.0, 10, 0.1135447292),
        (5.0, 3.0, 15, 0.0203830008),
        (2.0, f64::INFINITY, 5, 0.0526530173),
        (0.8, f64::INFINITY, 4, 0.0090798578),
        (5.0, f64::INFINITY, 12, 0.0054530919),
    ];
    for (mean, size, count, tail) in table {
        near(
            NegativeBinomial::new(mean, size).unwrap().at_least(count),
            tail,
            6e-11,
        );
    }
    near(
        NegativeBinomial::new(2.0, 1.5).unwrap().exactly(0),
        0.2805658589,
        6e-11,
    );
    near(
        NegativeBinomial::new(5.0, 3.0).unwrap().exactly(0),
        0.052734375,
        6e-11,
    );
    close(
        NegativeBinomial::new(0.8, 0.5).unwrap().variance(),
        2.08,
        1e-12,
    );
}

/// Barlow and Proschan, Mathematical Theory of Reliability, 1965, chapter 4; computed with scipy
/// 1.17.1 brentq and the incomplete gamma function. Scale 1, planned cost 1.
#[test]
fn replacement_ages_agree() {
    #[rustfmt::skip]
    let table = [
        (1.5, 2.0, 2.17464138, 2.21199980, 2.21546433), (1.5, 5.0, 0.67549199, 4.93129919, 5.53866084),
        (1.5, 10.0, 0.37814449, 8.30161632, 11.07732167), (2.0, 2.0, 1.09079697, 2.18159394, 2.25675833),
        (2.0, 5.0, 0.51065522, 4.08524179, 5.64189584), (2.0, 10.0, 0.33645119, 6.05612144, 11.28379167),
        (2.5, 2.0, 0.88360168, 2.07646591, 2.25412100), (2.5, 5.0, 0.49304696, 3.46204274, 5.63530249),
        (2.5, 10.0, 0.35457441, 4.75054680, 11.27060498), (3.0, 2.0, 0.81034203, 1.96996260, 2.23969304),
        (3.0, 5.0, 0.50260958, 3.03139670, 5.59923261), (3.0, 10.0, 0.38245553, 3.94935030, 11.19846522),
    ];
    for (shape, failure_cost, age, cost_rate, to_failure) in table {
        let law = Weibull { shape, scale: 1.0 };
        let policy = best_replacement_age(&law, 1.0, failure_cost).unwrap();
        close(policy.age.unwrap(), age, 2e-8);
        close(policy.cost_rate, cost_rate, 1e-8);
        close(policy.run_to_failure_cost_rate, to_failure, 1e-8);
        // It is a minimum: neighbours cost more.
        for other in [0.9 * age, 1.1 * age] {
            let rate = age_replacement_cost_rate(&law, 1.0, failure_cost, other).unwrap();
            assert!(rate > policy.cost_rate);
        }
    }
    // A public reliability wiki's example of 2012, shape 2.5, scale 1000 h, costs 1 and 5; its
    // answer 493.0470 h from memory.
    let law = Weibull {
        shape: 2.5,
        scale: 1000.0,
    };
    near(
        best_replacement_age(&law, 1.0, 5.0).unwrap().age.unwrap(),
        493.0470,
        1e-4,
    );
}

/// Coronary deaths of British doctors by age and smoking (Doll and Hill 1966, in Breslow and Day,
/// Statistical Methods in Cancer Research II, 1987, section 4.5; counts from memory): the age-adjusted
/// rate ratio of smokers is 1.43 in print; digits of all from statsmodels 0.15.0 GLM(Poisson).
#[test]
fn a_log_linear_fit_agrees() {
    let deaths = [
        32.0, 104.0, 206.0, 186.0, 102.0, 2.0, 12.0, 28.0, 28.0, 31.0,
    ];
    let person_years: [f64; 10] = [
        52_407.0, 43_248.0, 28_612.0, 12_663.0, 5_317.0, 18_790.0, 10_673.0, 5_710.0, 2_585.0,
        1_462.0,
    ];
    let cells: Vec<f64> = (0..10)
        .flat_map(|row| {
            let band = |k: usize| if row % 5 == k { 1.0 } else { 0.0 };
            let smokes = if row < 5 { 1.0 } else { 0.0 };
            [smokes, band(1), band(2), band(3), band(4)]
        })
        .collect();
    let offsets = person_years.map(f64::ln);
    let design = Design {
        columns: 5,
        values: &cells,
    };
    let answers = Answers {
        values: &deaths,
        weights: &[1.0; 10],
        offsets: &offsets,
    };
    let fit = log_linear(design, answers, 0.0).unwrap();
    near(fit.coefficients[0].exp(), 1.43, 0.006);
    close(fit.intercept, -7.919_325_711_859_448, 1e-8);
    let expected = [
        0.354_535_637_253_193,
        1.484_007_006_347_039,
        2.627_505_118_495_113,
        3.350_492_785_198_143,
        3.700_096_451_861_786,
    ];
    for (got, expected) in fit.coefficients.iter().zip(expected) {
        close(*got, expected, 1e-8);
    }
}
