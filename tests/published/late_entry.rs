//! Batteries that come under observation late. Made-up lives; expected values by R 4.2.2, survival
//! 3.5.3 (`survfit(Surv(entry, exit, event) ~ 1)`) and R `nlm` on the left-truncated Weibull
//! likelihood, agreeing with lifelines 0.30.3 (`WeibullFitter.fit(..., entry=)`) and surpyval 0.25
//! in five digits.

use super::{PublishedLife, write_dumps};
use crate::workplace::{Workplace, assert_close, number};

/// Entry, exit, failed.
const LIVES: [(u64, u64, bool); 20] = [
    (0, 10, true),
    (0, 25, true),
    (0, 40, true),
    (0, 60, false),
    (5, 22, true),
    (5, 60, false),
    (8, 33, true),
    (10, 41, true),
    (12, 28, true),
    (12, 60, false),
    (15, 47, true),
    (18, 39, true),
    (20, 52, true),
    (20, 60, false),
    (24, 44, true),
    (24, 60, false),
    (30, 50, true),
    (30, 60, false),
    (36, 58, true),
    (36, 60, false),
];

/// Age, at risk, survival.
const CURVE: [(f64, f64, f64); 13] = [
    (10.0, 7.0, 0.857_142_9),
    (22.0, 13.0, 0.791_208_8),
    (25.0, 14.0, 0.734_693_9),
    (28.0, 13.0, 0.678_179_0),
    (33.0, 14.0, 0.629_737_6),
    (39.0, 15.0, 0.587_755_1),
    (40.0, 14.0, 0.545_772_6),
    (41.0, 13.0, 0.503_790_1),
    (44.0, 12.0, 0.461_807_6),
    (47.0, 11.0, 0.419_825_1),
    (50.0, 10.0, 0.377_842_6),
    (52.0, 9.0, 0.335_860_1),
    (58.0, 8.0, 0.293_877_6),
];

#[test]
fn late_entry_is_left_truncation_the_whole_way() {
    let lives: Vec<PublishedLife> = LIVES
        .iter()
        .map(|(entry, exit, failed)| PublishedLife {
            entry: *entry,
            exit: *exit,
            failed: *failed,
        })
        .collect();
    let place = Workplace::new();
    write_dumps(&place, &lives);

    let fit = &place.sql(
        &[],
        "SELECT fit['failures'] AS failures, fit['shape'] AS shape, fit['scale'] AS scale, fit['b10'] AS b10 \
         FROM life_fit WHERE cohort_kind = 'fleet'",
    )[0];
    assert_eq!(number(fit, "failures"), 13.0);
    assert_close(number(fit, "shape"), 1.793_606_014, 1e-5, "shape");
    assert_close(number(fit, "scale"), 53.750_228_51, 1e-5, "scale");
    assert_close(number(fit, "b10"), 15.328_088_94, 1e-5, "B10");

    let curve = place.sql(
        &[],
        "SELECT age_days, at_risk, survival FROM life_curve WHERE cohort_kind = 'fleet' ORDER BY age_days",
    );
    assert_eq!(curve.len(), CURVE.len());
    for (step, (age, at_risk, survival)) in curve.iter().zip(CURVE) {
        assert_eq!(number(step, "age_days"), age);
        assert_eq!(number(step, "at_risk"), at_risk);
        assert_close(number(step, "survival"), survival, 1e-6, "survival");
    }
}
