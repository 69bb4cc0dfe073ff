-- One row is a cohort in a period: batteries, failures and days under observation.
-- Reads cohort_life. A battery counts in every period it was under observation in, for the days of it.
-- Periods are all time, the last 52 weeks, the 52 weeks before and each quarter; earlier_period is the
-- one a period is held against.
WITH first_day AS (SELECT date_trunc('quarter', MIN(entered_on)) AS first_day FROM cohort_life),
quarters AS (
    SELECT UNNEST(generate_series(CAST(first_day AS TIMESTAMP), CAST($as_of AS TIMESTAMP), INTERVAL '3 months')) AS starts
    FROM first_day
    WHERE first_day IS NOT NULL
),
named AS (
    SELECT CAST(EXTRACT(YEAR FROM starts) AS VARCHAR) || '-Q' || CAST(EXTRACT(QUARTER FROM starts) AS VARCHAR) AS period, starts
    FROM quarters
),
periods AS (
    SELECT 'all' AS period, CAST('1900-01-01' AS DATE) AS starts_on, day_plus($as_of, 1) AS ends_on,
           CAST(NULL AS VARCHAR) AS earlier_period
    UNION ALL
    SELECT 'last 52 weeks', day_plus($as_of, -363), day_plus($as_of, 1), '52 weeks before'
    UNION ALL
    SELECT '52 weeks before', day_plus($as_of, -727), day_plus($as_of, -363), NULL
    UNION ALL
    SELECT period, CAST(starts AS DATE), CAST(starts + INTERVAL '3 months' AS DATE),
           LAG(period) OVER (ORDER BY starts)
    FROM named
)
SELECT c.cohort_kind, c.cohort, p.period, p.earlier_period,
       COUNT(*) AS batteries,
       SUM(CASE WHEN c.failed AND c.exited_on >= p.starts_on AND c.exited_on < p.ends_on THEN 1 ELSE 0 END) AS failures,
       SUM(days_between(GREATEST(c.entered_on, p.starts_on), LEAST(c.exited_on, p.ends_on))) AS battery_days
FROM cohort_life c
JOIN periods p ON c.entered_on < p.ends_on AND c.exited_on > p.starts_on
GROUP BY c.cohort_kind, c.cohort, p.period, p.earlier_period
