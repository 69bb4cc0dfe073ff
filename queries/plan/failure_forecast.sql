-- One row is one of the coming 13 weeks: the failures on the road up to its end, while the plan is kept and were
-- nothing done, with 95 % and 50 % limits.
-- Reads week_need and the record of past reports. The limits are those of a negative binomial count: counts
-- scatter, and the level of all chances is no surer than the failures that past reports of separate weeks
-- expected in days now over, with one more for what is believed before. Without a record they are wide.
WITH record AS (
    SELECT 1.0 + COALESCE(SUM(expected), 0.0) AS size FROM prediction_record WHERE is_separate
),
weekly AS (
    SELECT week, MAX(day_plus(week_on, 6)) AS up_to, SUM(failing) AS failing, SUM(failing_left_alone) AS left_alone
    FROM week_need GROUP BY week
),
summed AS (
    SELECT week, up_to, SUM(failing) OVER so_far AS failures, SUM(left_alone) OVER so_far AS failures_left_alone
    FROM weekly
    WINDOW so_far AS (ORDER BY week ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
),
counted AS (
    SELECT s.week, s.up_to, s.failures, s.failures_left_alone, r.size,
           UNNEST(GENERATE_SERIES(0, CAST(5 * s.failures AS BIGINT) + 20)) AS count
    FROM summed s CROSS JOIN record r
),
tailed AS (
    SELECT *, count_tail(count, failures, size) AS reached, count_tail(count + 1, failures, size) AS passed FROM counted
)
SELECT week, up_to, failures, failures_left_alone, size AS record_failures,
       MAX(CASE WHEN reached >= 0.975 THEN count END) AS failures_lower,
       MIN(CASE WHEN passed <= 0.025 THEN count END) AS failures_upper,
       MAX(CASE WHEN reached >= 0.75 THEN count END) AS failures_lower_half,
       MIN(CASE WHEN passed <= 0.25 THEN count END) AS failures_upper_half
FROM tailed
GROUP BY week, up_to, failures, failures_left_alone, size
