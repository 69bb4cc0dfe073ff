//! Diesel generator fans: 70 units, 12 failures (Nelson, Journal of Quality Technology 1:27-52,
//! 1969; data set `genfan` of the R package survival). Expected values by R 4.2.2, survival 3.5.3:
//! `survreg(Surv(hours, status) ~ 1, genfan)` and `survfit(Surv(hours, status) ~ 1, genfan)`.

use super::{PublishedLife, write_dumps};
use crate::workplace::{Workplace, assert_close, number};

/// Hours, whether it failed, how many.
const FANS: [(u64, bool, usize); 37] = [
    (450, true, 1),
    (460, false, 1),
    (1150, true, 2),
    (1560, false, 1),
    (1600, true, 1),
    (1660, false, 1),
    (1850, false, 5),
    (2030, false, 3),
    (2070, true, 2),
    (2080, true, 1),
    (2200, false, 1),
    (3000, false, 4),
    (3100, true, 1),
    (3200, false, 1),
    (3450, true, 1),
    (3750, false, 2),
    (4150, false, 4),
    (4300, false, 4),
    (4600, true, 1),
    (4850, false, 4),
    (5000, false, 3),
    (6100, true, 1),
    (6100, false, 3),
    (6300, false, 1),
    (6450, false, 2),
    (6700, false, 1),
    (7450, false, 1),
    (7800, false, 2),
    (8100, false, 2),
    (8200, false, 1),
    (8500, false, 3),
    (8750, true, 1),
    (8750, false, 2),
    (9400, false, 1),
    (9900, false, 1),
    (10100, false, 3),
    (11500, false, 1),
];

#[test]
fn the_whole_way_gives_the_published_fit_and_curve() {
    let lives: Vec<PublishedLife> = FANS
        .iter()
        .flat_map(|(hours, failed, count)| {
            (0..*count).map(|_| PublishedLife {
                entry: 0,
                exit: *hours,
                failed: *failed,
            })
        })
        .collect();
    assert_eq!(lives.len(), 70);
    let place = Workplace::new();
    write_dumps(&place, &lives);

    let fit = &place.sql(
        &[],
        "SELECT fit['lives'] AS lives, fit['failures'] AS failures, fit['shape'] AS shape, \
         fit['scale'] AS scale, fit['b10'] AS b10, fit['b10_lower'] AS b10_lower, fit['log_likelihood'] AS log_likelihood \
         FROM life_fit WHERE cohort_kind = 'fleet'",
    )[0];
    assert_eq!(number(fit, "lives"), 70.0);
    assert_eq!(number(fit, "failures"), 12.0);
    assert_close(number(fit, "shape"), 1.058_445_85, 1e-6, "shape");
    assert_close(number(fit, "scale"), 26_296.845_17, 1e-6, "scale");
    assert_close(number(fit, "b10"), 3_137.240_778, 1e-6, "B10");
    assert_close(
        number(fit, "b10_lower"),
        1_686.207_37,
        1e-6,
        "lower limit of B10",
    );
    assert_close(
        number(fit, "log_likelihood"),
        -135.152_719_9,
        1e-8,
        "log-likelihood",
    );

    // The product of (1 - d/n) over the table above, n counted from it.
    let curve = place.sql(
        &[],
        "SELECT age_days, at_risk, survival FROM life_curve WHERE cohort_kind = 'fleet' ORDER BY age_days",
    );
    let mut survival = 1.0;
    let mut expected = Vec::new();
    for (hours, failed, count) in FANS.iter().filter(|(_, failed, _)| *failed) {
        assert!(failed);
        let at_risk = lives.iter().filter(|life| life.exit >= *hours).count();
        survival *= 1.0 - *count as f64 / at_risk as f64;
        expected.push((*hours as f64, at_risk as f64, survival));
    }
    assert_eq!(curve.len(), expected.len());
    for (step, (age, at_risk, survival)) in curve.iter().zip(expected) {
        assert_eq!(number(step, "age_days"), age);
        assert_eq!(number(step, "at_risk"), at_risk);
        assert_close(number(step, "survival"), survival, 1e-12, "survival");
    }

    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-06-28"]);
    let report = place.read("reports/2026-W26/report.md");
    // With twelve failures the limits are those of the profile likelihood, which are held against
    // reference values with the estimators: 0.606 to 1.658, and 1,420 to 5,662 hours (days here).
    assert!(
        report.contains("1.06 (0.61–1.66)"),
        "shape and limits:\n{report}"
    );
    assert!(
        report.contains("8.6 years (3.9–15.5)"),
        "B10 and limits:\n{report}"
    );
    assert!(
        place
            .read("reports/2026-W26/charts/survival.svg")
            .contains("<svg")
    );
}
