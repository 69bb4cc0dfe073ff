-- One row is a cohort in a period: failures per 1,000 battery-months with exact 95 % limits, and what
-- they say.
-- Reads cohort_count and cohort_expected. Beside the cohort's own rate stand
-- * the rate drawn towards those of its kind (empirical Bayes), so that a cohort with two batteries does
--   not top a table;
-- * the funnel: the 95 % range of the rate about the common one of its kind, were the cohort like the
--   rest and of the same ages, its p, and that adjusted for all cohorts of the kind (Benjamini and
--   Hochberg, J. Roy. Statist. Soc. B 57:289, 1995);
-- * the failures to be expected of the ages of its batteries (cohort_expected) and the ratio of those
--   seen to them, with the exact Poisson limits of a standardised ratio (Breslow and Day, Statistical
--   Methods in Cancer Research II, IARC 1987, section 2.3) and p, adjusted likewise. A cohort stands_out
--   where that is at most $cohort_false_share: not for being old, which the plain rate does not allow for;
-- * the change against the period before, by a test that is exact for small numbers.
-- Half of a fleet is half of what it is held against, so the ratio of a large cohort lies nearer 1 and
-- stands out later than chance alone would have it; never sooner.
WITH counted AS (
    SELECT c.*, c.battery_days / 30.4375 AS battery_months, e.expected_failures
    FROM cohort_count c
    LEFT JOIN cohort_expected e ON e.cohort_kind = c.cohort_kind AND e.cohort = c.cohort AND e.period = c.period
),
kinds AS (
    SELECT cohort_kind, period, COUNT(*) AS cohorts,
           CAST(SUM(failures) AS DOUBLE) / NULLIF(SUM(battery_days), 0) AS common_per_day,
           rate_law(failures, battery_months / 1000.0) AS law
    FROM counted
    GROUP BY cohort_kind, period
),
held AS (
    SELECT c.*, k.common_per_day * 30437.5 AS common_rate,
           rate_limits(c.failures, c.battery_months / 1000.0) AS rate,
           rate_shrunk(k.law, c.failures, c.battery_months / 1000.0) AS drawn,
           rate_change(c.failures, c.battery_months, e.failures, e.battery_months) AS change,
           CASE WHEN k.cohorts > 1 THEN funnel_place(c.failures, k.common_per_day * c.battery_days) END AS funnel,
           rate_limits(c.failures, NULLIF(c.expected_failures, 0)) AS ratio,
           CASE WHEN k.cohorts > 1 THEN funnel_place(c.failures, c.expected_failures)['p'] END AS ratio_p
    FROM counted c
    JOIN kinds k ON k.cohort_kind = c.cohort_kind AND k.period = c.period
    LEFT JOIN counted e ON e.cohort_kind = c.cohort_kind AND e.cohort = c.cohort AND e.period = c.earlier_period
),
adjusted AS (
    SELECT *, funnel['p'] AS funnel_p,
           adjusted_p(funnel['p']) OVER kind AS adjusted_p,
           adjusted_p(ratio_p) OVER kind AS ratio_adjusted_p
    FROM held
    WINDOW kind AS (PARTITION BY cohort_kind, period)
)
SELECT cohort_kind, cohort, period, batteries, failures, battery_months,
       rate['rate'] AS failures_per_1000_months, rate['lower'] AS lower, rate['upper'] AS upper,
       drawn['rate'] AS shrunk_rate, drawn['lower'] AS shrunk_lower, drawn['upper'] AS shrunk_upper,
       drawn['own_weight'] AS own_weight,
       common_rate, funnel['lower'] * common_rate AS funnel_lower, funnel['upper'] * common_rate AS funnel_upper,
       funnel_p, adjusted_p,
       expected_failures, ratio['rate'] AS ratio, ratio['lower'] AS ratio_lower, ratio['upper'] AS ratio_upper,
       ratio_p, ratio_adjusted_p,
       COALESCE(ratio_adjusted_p <= $cohort_false_share, FALSE) AS stands_out,
       earlier_period, change['ratio'] AS change_ratio, change['lower'] AS change_lower,
       change['upper'] AS change_upper, change['p'] AS change_p
FROM adjusted
