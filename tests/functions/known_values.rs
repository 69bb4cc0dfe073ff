//! Published values, through SQL. The inputs and more digits are with the estimators' own tests.

use datafusion::arrow::array::{Array, AsArray};
use datafusion::arrow::datatypes::Float64Type;
use datafusion::prelude::SessionContext;

use super::{answer, field, rows, session};
use crate::workplace::assert_close;

/// Freireich et al., Blood 21:699, 1963 (Gehan 1965): weeks of remission, 6-MP as cohort 1.
const REMISSION: &str = "
    WITH life (cohort, entry, exit, failed) AS (
        SELECT 1, 0.0, column1, TRUE FROM (VALUES (6.0), (6), (6), (7), (10), (13), (16), (22), (23))
        UNION ALL
        SELECT 1, 0.0, column1, FALSE FROM (VALUES (6.0), (9), (10), (11), (17), (19), (20), (25), (32), (32), (34), (35))
        UNION ALL
        SELECT 2, 0.0, column1, TRUE FROM (VALUES (1.0), (1), (2), (2), (3), (4), (4), (5), (5), (8), (8), (8), (8),
            (11), (11), (12), (12), (15), (17), (22), (23))
    )";

/// Every row of a query of numbers.
async fn table(context: &SessionContext, sql: &str) -> Vec<Vec<Option<f64>>> {
    let mut all = Vec::new();
    for batch in rows(context, sql).await {
        for row in 0..batch.num_rows() {
            let number = |column: &datafusion::arrow::array::ArrayRef| {
                let numbers = column.as_primitive::<Float64Type>();
                numbers.is_valid(row).then(|| numbers.value(row))
            };
            all.push(batch.columns().iter().map(number).collect());
        }
    }
    all
}

#[track_caller]
fn assert_field(answer: &datafusion::arrow::array::ArrayRef, name: &str, value: f64, by: f64) {
    let found = field(answer, name).unwrap_or_else(|| panic!("{name} is null"));
    assert_close(found, value, by, name);
}

/// NIST/SEMATECH e-Handbook 8.2.2.1 and 8.4.1.3: 20 units, 10 failures, 500 hours; shape 1.7208 and
/// scale 606.528 are printed there. Further digits: R 4.2.2 survival 3.5.3 survreg.
#[tokio::test]
async fn handbook_weibull() {
    let sql = "
        SELECT weibull_life(0.0, hours, failed) FROM (
            SELECT column1 AS hours, TRUE AS failed
            FROM (VALUES (54.0), (187), (216), (240), (244), (335), (361), (373), (375), (386))
            UNION ALL SELECT 500.0, FALSE FROM generate_series(1, 10))";
    let fit = answer(&session(4, None), sql).await;
    for (name, value) in [
        ("lives", 20.0),
        ("failures", 10.0),
        ("shape", 1.720797261),
        ("shape_lower", 0.971266102),
        ("shape_upper", 3.048745557),
        ("scale", 606.527558),
        ("b10", 164.022439),
        ("log_likelihood", -75.13461816),
        ("shape_profile_lower", 0.9056453588),
        ("shape_profile_upper", 2.885737866),
        ("b10_profile_lower", 59.85455425),
        ("b10_profile_upper", 271.9495176),
    ] {
        assert_field(&fit, name, value, 1e-6);
    }
    // The likelihood ratio crosses 1 within the profile's limits exactly when p exceeds 5 %.
    let p = field(&fit, "constant_hazard_p").expect("a p");
    assert!(p > 0.05 && p < 0.15, "{p}");
}

/// R 4.2.2 survfit, conf.type "log-log": age, at risk, failures, survival, its limits, and H.
#[tokio::test]
async fn remission_survival() {
    let sql = format!(
        "{REMISSION} SELECT step['age'], step['at_risk'], step['failures'], step['survival'],
                step['lower'], step['upper'], step['cumulative_hazard']
         FROM (SELECT UNNEST(survival_steps(entry, exit, failed)) AS step FROM life WHERE cohort = 1)"
    );
    let expected = [
        [6.0, 21.0, 3.0, 0.8571429, 0.6197180, 0.9515517, 0.1428571],
        [7.0, 17.0, 1.0, 0.8067227, 0.5631466, 0.9228090, 0.2016807],
        [10.0, 15.0, 1.0, 0.7529412, 0.5031995, 0.8893618, 0.2683473],
        [13.0, 12.0, 1.0, 0.6901961, 0.4316102, 0.8490660, 0.3516807],
        [16.0, 11.0, 1.0, 0.6274510, 0.3675109, 0.8049122, 0.4425898],
        [22.0, 7.0, 1.0, 0.5378151, 0.2677789, 0.7467907, 0.5854469],
        [23.0, 6.0, 1.0, 0.4481793, 0.1880520, 0.6801426, 0.7521136],
    ];
    let found = table(&session(4, None), &sql).await;
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.iter().zip(expected) {
        for (found, expected) in found.iter().zip(expected) {
            assert_close(found.expect("a number"), expected, 5e-7, "a step");
        }
    }
}

/// Log-rank 16.79 in textbooks, further digits R 4.2.2 survdiff; mean remission up to week 20 and its
/// standard error R 4.2.2 `summary(survfit, rmean = 20)`.
#[tokio::test]
async fn remission_compared() {
    let context = session(4, None);
    let sql = format!("{REMISSION} SELECT log_rank(cohort, entry, exit, failed) FROM life");
    let test = answer(&context, &sql).await;
    assert_field(&test, "chi_square", 16.79294099, 1e-8);
    assert_eq!(field(&test, "degrees_of_freedom"), Some(1.0));
    assert_eq!(field(&test, "cohorts"), Some(2.0));
    assert_eq!(field(&test, "failures"), Some(30.0));
    let sql = format!(
        "{REMISSION} SELECT mean_life_until(entry, exit, failed, 20.0) FROM life WHERE cohort = 1"
    );
    let mean = answer(&context, &sql).await;
    assert_field(&mean, "mean", 16.11652661, 1e-8);
    let z = 1.959963984540054;
    assert_field(&mean, "lower", 16.11652661 - z * 1.251560196, 1e-8);
    assert_field(&mean, "upper", 16.11652661 + z * 1.251560196, 1e-8);
}

/// Nelson and Doganaksoy 1989, valve seats of 41 diesel engines (data as in R survival `valveSeat`);
/// means and robust variances as in R survfit(id =).
#[tokio::test]
async fn valve_seats() {
    let file = include_str!("../reference/statistics/valve_seats.csv");
    let mut values = Vec::new();
    for line in file.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        values.push(format!("({}, {}.0, FALSE)", cells[0], cells[1]));
        let repairs = cells[2].split_whitespace();
        values.extend(repairs.map(|age| format!("({}, {age}, TRUE)", cells[0])));
    }
    let sql = format!(
        "SELECT step['age'], step['at_risk'], step['events'], step['mean'], step['lower'], step['upper']
         FROM (SELECT UNNEST(mean_cumulative_steps(column1, 0.0, column2, column3)) AS step FROM (VALUES {}))",
        values.join(", ")
    );
    let found = table(&session(4, None), &sql).await;
    let expected = include_str!("../reference/statistics/valve_seats_expected.csv");
    assert_eq!(found.len(), expected.lines().count() - 1);
    for (found, expected) in found.iter().zip(expected.lines().skip(1)) {
        let expected: Vec<f64> = expected.split(',').flat_map(str::parse).collect();
        for at in 0..4 {
            assert_close(found[at].expect("a number"), expected[at], 3e-6, "a step");
        }
    }
    let last = &found[found.len() - 1];
    assert_close(last[4].expect("a limit"), 1.03829, 1e-5, "lower");
    assert_close(last[5].expect("a limit"), 2.29213, 1e-5, "upper");
}

/// The value of a name in the table that `make_reference.py` wrote.
fn reference(name: &str) -> f64 {
    include_str!("../reference/statistics/expected.csv")
        .lines()
        .find_map(|line| line.strip_prefix(name)?.strip_prefix(','))
        .and_then(|value| value.parse().ok())
        .unwrap_or_else(|| panic!("no reference value named {name:?}"))
}

/// Made-up lives; incidences by the reference libraries named in `make_reference.py`.
#[tokio::test]
async fn competing_ends() {
    let file = include_str!("../reference/statistics/competing_lives.csv");
    let values: Vec<String> = file
        .lines()
        .skip(1)
        .map(|line| format!("({line})"))
        .collect();
    let sql = format!(
        "SELECT step['age'], step['cause'], step['incidence']
         FROM (SELECT UNNEST(incidence_steps(0.0, column1, column2)) AS step FROM (VALUES {}))",
        values.join(", ")
    );
    let found = table(&session(4, None), &sql).await;
    for cause in [1.0, 2.0] {
        for age in [10.0, 20.0, 30.0, 40.0, 50.0] {
            let by_then = |row: &&Vec<Option<f64>>| row[1] == Some(cause) && row[0] <= Some(age);
            let last = found.iter().rfind(by_then).and_then(|row| row[2]);
            let expected = reference(&format!("incidence of cause {cause} at {age}"));
            assert_close(last.expect("an incidence"), expected, 1e-8, "incidence");
        }
    }
}

/// Made-up lives in two strata; the stratified test by statsmodels, see `make_reference.py`.
#[tokio::test]
async fn cohorts_within_strata() {
    let file = include_str!("../reference/statistics/grouped_lives.csv");
    let values: Vec<String> = file
        .lines()
        .skip(1)
        .map(|line| format!("({line})"))
        .collect();
    let lives = format!(
        "(VALUES {}) AS life (stratum, cohort, exit, failed)",
        values.join(", ")
    );
    let context = session(4, None);
    let sql =
        format!("SELECT log_rank_within(stratum, cohort, 0.0, exit, failed = 1) FROM {lives}");
    let test = answer(&context, &sql).await;
    assert_field(
        &test,
        "chi_square",
        reference("stratified log-rank chi-square"),
        1e-8,
    );
    assert_field(&test, "p", reference("stratified log-rank p"), 1e-8);
    assert_eq!(field(&test, "degrees_of_freedom"), Some(2.0));
    assert_eq!(field(&test, "cohorts"), Some(3.0));
    // In one stratum it is the plain test.
    for call in ["log_rank(", "log_rank_within(7.0, "] {
        let sql = format!("SELECT {call}cohort, 0.0, exit, failed = 1) FROM {lives}");
        let test = answer(&context, &sql).await;
        assert_field(&test, "p", reference("log-rank p"), 1e-8);
    }
    // A cohort in a stratum of its own is compared with nobody.
    let sql = format!("SELECT log_rank_within(cohort, cohort, 0.0, exit, failed = 1) FROM {lives}");
    let alone = answer(&context, &sql).await;
    assert_eq!(field(&alone, "degrees_of_freedom"), Some(0.0));
    assert_eq!(field(&alone, "p"), Some(1.0));
}

/// Made-up lives known to intervals; survival by the reference iteration in `make_reference.py`, which
/// leaves up to 1e-5 of some survivals.
#[tokio::test]
async fn failures_known_to_an_interval() {
    let file = include_str!("../reference/statistics/interval_lives.csv");
    let values: Vec<String> = file
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            match cells[2] {
                "inf" => format!("({}, 0.0, FALSE)", cells[1]),
                by => format!("({}, {by}, TRUE)", cells[1]),
            }
        })
        .collect();
    let sql = format!(
        "SELECT step['to_age'], step['survival_after'], step['chance']
         FROM (SELECT UNNEST(interval_steps(0.0, column1, column2, column3)) AS step FROM (VALUES {}))",
        values.join(", ")
    );
    let found = table(&session(4, None), &sql).await;
    let chances: f64 = found.iter().filter_map(|row| row[2]).sum();
    assert_close(chances, 1.0, 1e-9, "all chances");
    let mut compared = 0;
    for row in found.iter().filter(|row| row[0].is_some()) {
        let (to, survival) = (row[0].expect("an age"), row[1].expect("survival"));
        let name = format!("turnbull survival after {to:.2},");
        let known = include_str!("../reference/statistics/expected.csv")
            .lines()
            .find_map(|line| line.strip_prefix(&name)?.parse::<f64>().ok());
        if let Some(known) = known {
            assert!(
                (survival - known).abs() < 2e-5,
                "{to}: {survival} against {known}"
            );
            compared += 1;
        }
    }
    assert!(compared >= 10, "{compared}");
}

/// Garwood, Biometrika 28:437, 1936: 3 events, 0.618672 to 8.767273.
#[tokio::test]
async fn exact_rates() {
    let rate = answer(&session(4, None), "SELECT rate_limits(3, 1.5)").await;
    assert_field(&rate, "rate", 2.0, 1e-12);
    assert_field(&rate, "lower", 0.618672 / 1.5, 1e-6);
    assert_field(&rate, "upper", 8.767273 / 1.5, 1e-6);
}

/// Exact conditional test and shrunk rates by the reference libraries named in `make_reference.py`.
#[tokio::test]
async fn rates_against_others() {
    let context = session(4, None);
    let change = answer(&context, "SELECT rate_change(4, 100.0, 6, 900.0)").await;
    assert_field(&change, "ratio", 6.0, 1e-12);
    for name in ["lower", "upper", "p"] {
        let expected = reference(&format!("rate change 4/100 after 6/900 {name}"));
        assert_field(&change, name, expected, 1e-8);
    }
    let open = answer(&context, "SELECT rate_change(3, 120.0, 0, 500.0)").await;
    assert_eq!((field(&open, "ratio"), field(&open, "upper")), (None, None));

    let file = include_str!("../reference/statistics/counts.csv");
    let values: Vec<String> = file
        .lines()
        .skip(1)
        .map(|line| format!("({line})"))
        .collect();
    let counts = format!(
        "WITH counted AS (SELECT column1 AS events, column2 AS exposure FROM (VALUES {}))",
        values.join(", ")
    );
    let law = answer(
        &context,
        &format!("{counts} SELECT rate_law(events, exposure) FROM counted"),
    )
    .await;
    assert_field(&law, "mean", reference("gamma-poisson mean"), 1e-6);
    assert_field(&law, "size", reference("gamma-poisson size"), 1e-6);
    assert_eq!(field(&law, "cohorts"), Some(values.len() as f64));
    let first = values[0].trim_matches(['(', ')']);
    let sql = format!(
        "{counts} SELECT rate_shrunk(law, {first}) FROM (SELECT rate_law(events, exposure) AS law FROM counted)"
    );
    let shrunk = answer(&context, &sql).await;
    assert_field(&shrunk, "rate", reference("shrunk rate of unit 0"), 1e-6);
    assert_field(&shrunk, "lower", reference("shrunk lower of unit 0"), 1e-6);
    assert_field(&shrunk, "upper", reference("shrunk upper of unit 0"), 1e-6);
}

/// By hand: of five lives the first two are gone at 6, before the others enter at 7 and 8. The curve is
/// of those that reach 6, where it was 1: it says so. Two thirds live past 9, half of them past 12.
#[tokio::test]
async fn a_curve_of_those_who_reach_an_age_says_which() {
    let context = session(4, None);
    let lives = "(VALUES (2.0, 4.0, 1), (3, 6, 1), (7, 9, 1), (7, 12, 2), (8, 13, 0), (5, 5, 1), (6, 6, 0))";
    let sql = format!(
        "SELECT step['age'], step['survival'], step['given_age'], step['ended_at_entry']
         FROM (SELECT UNNEST(survival_steps(column1, column2, column3 > 0)) AS step FROM {lives})"
    );
    let close = |found: &[Vec<Option<f64>>], expected: &[[f64; 4]]| {
        assert_eq!(found.len(), expected.len(), "{found:?}");
        for (found, expected) in found.iter().flatten().zip(expected.iter().flatten()) {
            assert_close(found.expect("a number"), *expected, 1e-12, "a step");
        }
    };
    let survival = [[9.0, 2.0 / 3.0, 6.0, 1.0], [12.0, 1.0 / 3.0, 6.0, 1.0]];
    close(&table(&context, &sql).await, &survival);
    let sql = format!(
        "SELECT step['age'], step['incidence'], step['given_age'], step['ended_at_entry']
         FROM (SELECT UNNEST(incidence_steps(column1, column2, column3)) AS step FROM {lives})"
    );
    let incidence = [[9.0, 1.0 / 3.0, 6.0, 1.0], [12.0, 1.0 / 3.0, 6.0, 1.0]];
    close(&table(&context, &sql).await, &incidence);
    // Followed from the beginning, it is of all.
    let sql = "SELECT step['age'], step['survival'], step['given_age'], step['ended_at_entry']
               FROM (SELECT UNNEST(survival_steps(0.0, column1, TRUE)) AS step FROM (VALUES (4.0), (8.0)))";
    close(
        &table(&context, sql).await,
        &[[4.0, 0.5, 0.0, 0.0], [8.0, 0.0, 0.0, 0.0]],
    );
}

/// A failure at the very age of entry says nothing of a rate: it is counted and left out.
#[tokio::test]
async fn a_failure_at_the_age_of_entry_is_told() {
    let context = session(4, None);
    let lives = "(VALUES (0.0, 4.0, TRUE), (0, 6, TRUE), (0, 9, FALSE), (3, 3, TRUE), (5, 5, FALSE), (9, 8, TRUE))";
    let fit = answer(
        &context,
        &format!("SELECT weibull_life(column1, column2, column3) FROM {lives}"),
    )
    .await;
    assert_eq!(field(&fit, "lives"), Some(3.0));
    assert_eq!(field(&fit, "ended_at_entry"), Some(1.0));
    let mean = answer(
        &context,
        &format!("SELECT mean_life_until(column1, column2, column3, 6.0) FROM {lives}"),
    )
    .await;
    // Two thirds live past 4, all of the three until then.
    assert_field(&mean, "mean", 4.0 + 2.0 * 2.0 / 3.0, 1e-12);
    assert_eq!(field(&mean, "ended_at_entry"), Some(1.0));
    let test = answer(
        &context,
        &format!("SELECT log_rank(column2 % 3, column1, column2, column3) FROM {lives}"),
    )
    .await;
    assert_eq!(field(&test, "failures"), Some(2.0));
    assert_eq!(field(&test, "ended_at_entry"), Some(1.0));
    let steps = format!(
        "SELECT step['to_age'], step['ended_at_entry'] FROM (SELECT UNNEST(interval_steps(column1, column2, column2, column3)) AS step
         FROM {lives} WHERE column2 >= column1)"
    );
    let steps = table(&context, &steps).await;
    assert_eq!(steps[0], [Some(4.0), Some(1.0)]);
}

/// The line y = 0.3 x with heavy noise on 2,000 points; slope and limits by scipy 1.17.1
/// `stats.theilslopes(y, x, 0.95, method='separate')`, which forms every pair.
#[tokio::test]
async fn a_slope_through_many_points_is_that_of_all_pairs() {
    let sql = "SELECT robust_slope(x, 0.3 * x + ((CAST(x AS BIGINT) * CAST(x AS BIGINT) * CAST(x AS BIGINT)) % 1009) * 0.37)
               FROM (SELECT CAST(value AS DOUBLE) AS x FROM generate_series(1, 2000))";
    let line = answer(&session(4, None), sql).await;
    assert_field(&line, "slope", 0.3021893491124259, 1e-12);
    assert_field(&line, "slope_lower", 0.29474556213017744, 1e-12);
    assert_field(&line, "slope_upper", 0.3104435483870968, 1e-12);
    assert_eq!(field(&line, "points_used"), Some(2000.0));
    let sql = "SELECT robust_slope(x, 0.3 * x) FROM (SELECT CAST(value AS DOUBLE) AS x FROM generate_series(1, 20001))";
    let line = answer(&session(4, None), sql).await;
    assert_eq!(field(&line, "points"), Some(20_001.0));
    assert_eq!(field(&line, "points_used"), Some(20_000.0));
}

/// Score roots by mpmath 1.4.1 with 50 digits.
#[tokio::test]
async fn the_size_of_great_counts_keeps_its_digits() {
    let sql = "SELECT count_law(column1) FROM (VALUES (9e8), (1e9), (1.1e9), (1.2e9))";
    let law = answer(&session(4, None), sql).await;
    assert_field(&law, "size", 87.54290837674326, 1e-11);
    let sql = "SELECT rate_law(column1, 1.0) FROM (VALUES (9e8), (1e9), (1.1e9), (1.2e9))";
    let law = answer(&session(4, None), sql).await;
    assert_field(&law, "size", 87.54290837674326, 1e-9);
    assert_field(&law, "mean", 1.05e9, 1e-12);
}

/// mpmath 1.4.1 with 30 digits, by integration and halving.
#[tokio::test]
async fn shares_of_a_thousand_million_trials_keep_their_digits() {
    let sql = "SELECT exact_share_limits(500000000, 1000000000)";
    let share = answer(&session(4, None), sql).await;
    assert_field(&share, "lower", 0.4999690097484223, 1e-12);
    assert_field(&share, "upper", 0.5000309902515777, 1e-12);
}

/// One failure bounds the tenth life from below only far beyond what can be told: an end that is open
/// is null, never a number next to 0.
#[tokio::test]
async fn an_open_end_of_a_profile_is_null() {
    for lives in [
        "(VALUES (0.0, 4.0, TRUE), (0, 5, FALSE), (0, 5, FALSE))",
        "(VALUES (0.0, 1.0, TRUE), (0, 900, FALSE), (0, 1000, FALSE), (0, 1100, FALSE))",
        "(VALUES (0.0, 0.001, TRUE), (0, 900, TRUE), (0, 1000, FALSE), (0, 1100, FALSE))",
        "(VALUES (2.0, 3.0, TRUE), (800, 900, FALSE), (900, 1000, FALSE), (5, 1100, FALSE))",
    ] {
        let sql = format!("SELECT weibull_life(column1, column2, column3) FROM {lives}");
        let fit = answer(&session(4, None), &sql).await;
        for name in ["shape", "scale", "b10"] {
            let end = field(&fit, &format!("{name}_profile_lower"));
            assert!(end.is_none_or(|end| end > 1e-30), "{lives} {name}: {end:?}");
        }
    }
}
