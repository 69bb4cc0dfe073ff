//! Adjusted chances and laws of counts, as SQL gives them and as the estimators do.

use voltwane::statistics::rates::exact_share::exact_limits;
use voltwane::statistics::rates::false_discovery::adjusted_p;
use voltwane::statistics::rates::funnel::funnel_point;
use voltwane::statistics::rates::negative_binomial::NegativeBinomial;
use voltwane::statistics::rates::wilson::wilson_limits;
use voltwane::synthetic::{Scenario, write_dumps};

use crate::workplace::{Workplace, assert_close, number};

fn small_fleet() -> Workplace {
    let place = Workplace::new();
    let dumps = place.path().join("dumps");
    write_dumps(&Scenario::new(40, 52, 3), &dumps, false, &mut |_, _| {})
        .expect("a fleet is written");
    place.run(&["load", "--lake", "lake", "dumps"]);
    place
}

#[test]
fn a_weeks_chances_are_adjusted_as_benjamini_and_hochberg_say() {
    let place = small_fleet();
    let rows = place.sql(
        &[],
        "SELECT week, p_value, adjusted FROM session_chance ORDER BY week, p_value, adjusted",
    );
    assert!(rows.len() > 50, "{} sessions", rows.len());
    let mut weeks = 0;
    for week in rows.chunk_by(|left, right| left["week"] == right["week"]) {
        let p: Vec<f64> = week.iter().map(|row| number(row, "p_value")).collect();
        for (row, expected) in week.iter().zip(adjusted_p(&p).expect("chances")) {
            assert_close(number(row, "adjusted"), expected, 1e-12, "adjusted");
        }
        weeks += 1;
    }
    assert!(weeks > 20, "{weeks} weeks");
}

#[test]
fn functions_answer_as_their_estimators() {
    let place = small_fleet();
    let row = &place.sql(
        &[],
        "SELECT count_tail(9, 0.8, 0.6) AS wide, count_tail(3, 2.0, NULL) AS poisson,
                share_limits(7, 60)['upper'] AS wilson, exact_share_limits(14, 15)['lower'] AS exact,
                funnel_place(9, 4.5)['p'] AS p,
                share_limits(0, 0)['share'] AS nothing",
    )[0];
    let wide = NegativeBinomial::new(0.8, 0.6).expect("a law").at_least(9);
    assert_close(number(row, "wide"), wide, 1e-12, "count_tail");
    // 1 - exp(-2) (1 + 2 + 2)
    assert_close(
        number(row, "poisson"),
        1.0 - 5.0 * (-2.0_f64).exp(),
        1e-9,
        "Poisson",
    );
    let wilson = wilson_limits(7, 60, 0.95).expect("limits").upper;
    assert_close(number(row, "wilson"), wilson, 1e-12, "share_limits");
    let exact = exact_limits(14, 15, 0.95).expect("limits").lower;
    assert_close(number(row, "exact"), exact, 1e-12, "exact_share_limits");
    let p = funnel_point(9, 4.5, 1.0, 0.95).expect("a point").p;
    assert_close(number(row, "p"), p, 1e-12, "funnel_place");
    assert!(row["nothing"].is_null(), "{row}");
}

#[test]
fn a_law_fitted_in_parts_is_the_law_of_the_whole() {
    let place = small_fleet();
    let row = &place.sql(
        &[],
        "SELECT count_law(x)['mean'] AS mean, count_law(x)['size'] AS size, count_law(x)['counts'] AS counts
         FROM (SELECT UNNEST([0.0, 1.0, 9.0, 0.0, 2.0]) AS x
               UNION ALL SELECT UNNEST([3.0, 0.0, NULL, 0.0, 14.0]) AS x)",
    )[0];
    let counts = [0, 1, 9, 0, 2, 3, 0, 0, 14];
    let law = NegativeBinomial::fit(&counts).expect("a law");
    assert_eq!(number(row, "counts"), 9.0);
    assert_close(number(row, "mean"), law.mean, 1e-9, "mean");
    assert_close(number(row, "size"), law.size, 1e-5, "size");
}
