//! Groups with nothing in them, and rows that are NULL, NaN, infinite, negative or beyond all
//! measure: the answer is stated, and never NaN.

use super::{all_finite, answer, arguments, field, rows, session};
use voltwane::tables::functions::aggregates;

/// Lives of groups that an estimator has little to make of.
const ODD: &str = "
    WITH life (g, unit, entry, exit, cause, failed) AS (VALUES
        ('all null', CAST(NULL AS DOUBLE), CAST(NULL AS DOUBLE), CAST(NULL AS DOUBLE), CAST(NULL AS DOUBLE), CAST(NULL AS BOOLEAN)),
        ('one row', 1, 0, 5, 1, TRUE),
        ('one censored', 1, 0, 5, 0, FALSE),
        ('not a number', 1, 0, CAST('NaN' AS DOUBLE), 1, TRUE), ('not a number', 2, CAST('NaN' AS DOUBLE), 3, 0, FALSE),
        ('endless', 1, 0, CAST('Infinity' AS DOUBLE), 1, TRUE), ('endless', 2, CAST('-Infinity' AS DOUBLE), 4, 0, FALSE),
        ('no time', 1, 5, 5, 1, TRUE), ('no time', 2, 7, 3, 0, FALSE),
        ('negative', 1, -4, -2, -1, TRUE), ('negative', 2, -4, 6, -2, FALSE), ('negative', 3, -9, 1, 1, TRUE),
        ('zeroes', 1, 0, 0, 0, TRUE), ('zeroes', 2, 0, 0, 0, FALSE), ('zeroes', 3, -0.0, 0, 0, TRUE),
        ('vast', 1, 0, 1e308, 1, TRUE), ('vast', 2, 1e300, 1.5e308, 2, TRUE), ('vast', 3, 0, 1e-308, 1, TRUE),
        ('ties', 1, 0, 9, 1, TRUE), ('ties', 2, 0, 9, 1, TRUE), ('ties', 3, 0, 9, 2, TRUE), ('ties', 4, 0, 9, 0, FALSE),
        ('all failed', 1, 0, 1, 1, TRUE), ('all failed', 2, 0, 2, 2, TRUE), ('all failed', 3, 0, 4, 3, TRUE)
    )";

#[tokio::test]
async fn odd_groups_have_an_answer_without_nan() {
    let context = session(4, None);
    for aggregate in aggregates() {
        let name = aggregate.function.name();
        let sql = format!(
            "{ODD} SELECT g, {name}({}) FROM life GROUP BY g",
            arguments(name)
        );
        let batches = rows(&context, &sql).await;
        let groups: usize = batches.iter().map(|batch| batch.num_rows()).sum();
        assert_eq!(groups, 11, "{name}");
        for batch in &batches {
            all_finite(batch.column(1), name);
        }
    }
}

#[tokio::test]
async fn no_rows_have_an_answer_too() {
    let context = session(4, None);
    for aggregate in aggregates() {
        let name = aggregate.function.name();
        let arguments = arguments(name);
        let sql = format!("{ODD} SELECT {name}({arguments}) FROM life WHERE g = 'nobody'");
        all_finite(&answer(&context, &sql).await, name);
        let sql = format!("{ODD} SELECT {name}({arguments}) FILTER (WHERE unit = 99) FROM life");
        all_finite(&answer(&context, &sql).await, name);
    }
}

/// A row that is not whole and finite changes nothing.
#[tokio::test]
async fn rows_that_are_not_whole_are_left_out() {
    let context = session(2, None);
    let whole = "(1.0, 0.0, 5.0, 1.0, TRUE), (2.0, 0.0, 8.0, 2.0, TRUE), (3.0, 2.0, 9.0, 0.0, FALSE), (4.0, 0.0, 3.0, 1.0, TRUE)";
    let torn = "(NULL, NULL, NULL, NULL, NULL), (5.0, CAST('NaN' AS DOUBLE), CAST('NaN' AS DOUBLE), CAST('NaN' AS DOUBLE), TRUE)";
    for aggregate in aggregates() {
        let name = aggregate.function.name();
        let of = |values: String| {
            let arguments = arguments(name);
            format!(
                "SELECT {name}({arguments}) FROM (VALUES {values}) AS life (unit, entry, exit, cause, failed)"
            )
        };
        let clean = answer(&context, &of(whole.to_owned())).await;
        let dirty = answer(&context, &of(format!("{torn}, {whole}"))).await;
        assert_eq!(&clean, &dirty, "{name}");
    }
}

#[tokio::test]
async fn counts_stand_where_estimates_cannot() {
    let context = session(2, None);
    let fit = format!(
        "{ODD} SELECT weibull_life(entry, exit, failed) FROM life WHERE g = 'one censored'"
    );
    let fit = answer(&context, &fit).await;
    assert_eq!(field(&fit, "lives"), Some(1.0));
    assert_eq!(field(&fit, "failures"), Some(0.0));
    assert_eq!(field(&fit, "shape"), None);
    assert_eq!(field(&fit, "b10_profile_lower"), None);
    let test =
        format!("{ODD} SELECT log_rank(unit, entry, exit, failed) FROM life WHERE g = 'one row'");
    let test = answer(&context, &test).await;
    assert_eq!(field(&test, "cohorts"), Some(1.0));
    assert_eq!(field(&test, "p"), None);
}

/// A column that is no column of causes is told so, with what to do.
#[tokio::test]
async fn too_many_causes_are_an_error_that_says_what_to_do() {
    let context = session(2, None);
    let sql = "SELECT incidence_steps(0.0, 5.0, value) FROM generate_series(1, 40)";
    let error = context.sql(sql).await.expect("a plan").collect().await;
    let error = error.expect_err("forty causes").to_string();
    assert!(error.contains("40 different causes, at most 32"), "{error}");
}

#[tokio::test]
async fn scalars_answer_null_where_there_is_nothing_to_say() {
    let context = session(2, None);
    for call in [
        "rate_limits(3, 0.0)",
        "rate_limits(-1, 5.0)",
        "rate_limits(NULL, 5.0)",
        "rate_limits(3, CAST('NaN' AS DOUBLE))",
        "rate_limits(3, CAST('Infinity' AS DOUBLE))",
        "rate_change(3, 10.0, 2, 0.0)",
        "rate_change(3, 10.0, NULL, NULL)",
        "funnel_place(3, 0.0)",
        "funnel_place(3, CAST('NaN' AS DOUBLE))",
        "share_limits(0, 0)",
        "share_limits(5, 3)",
        "weibull_chance(weibull_life(0.0, 5.0, FALSE), 3.0, 10.0)",
        "rate_shrunk(rate_law(0.0, 0.0), 1, 3.0)",
    ] {
        let found = answer(&context, &format!("SELECT {call}")).await;
        all_finite(&found, call);
        let first = found.data_type().clone();
        let datafusion::arrow::datatypes::DataType::Struct(fields) = first else {
            panic!("{call} answers {first}")
        };
        assert_eq!(field(&found, fields[0].name()), None, "{call}");
    }
}
