-- One row is a kind of cohort: do batteries of its cohorts fail at different ages than chance explains?
-- Reads cohort_life. The log-rank test compares failures at each age, so older batteries in one cohort
-- are no reason for it; adjusted for the number of kinds looked at (Benjamini and Hochberg, J. Roy.
-- Statist. Soc. B 57:289, 1995).
WITH numbered AS (
    SELECT cohort_kind, DENSE_RANK() OVER (PARTITION BY cohort_kind ORDER BY cohort) AS cohort_no,
           entry_age_days, exit_age_days, failed
    FROM cohort_life
    WHERE cohort_kind <> 'fleet' AND cohort <> 'not known'
),
tested AS (
    SELECT cohort_kind, log_rank(cohort_no, entry_age_days, exit_age_days, failed) AS test
    FROM numbered
    GROUP BY cohort_kind
)
SELECT cohort_kind, test['cohorts'] AS cohorts, test['failures'] AS failures,
       test['chi_square'] AS chi_square, test['degrees_of_freedom'] AS degrees_of_freedom, test['p'] AS p,
       adjusted_p(test['p']) OVER () AS adjusted_p
FROM tested
