-- One row is a period that cohorts are counted in: all time, the last 52 weeks, the 52 weeks before and
-- each quarter.
-- Reads cohort_life. A period is the days from starts_on to the one before ends_on; earlier_period is
-- the one it is held against.
WITH first_day AS (SELECT date_trunc('quarter', MIN(entered_on)) AS first_day FROM cohort_life),
quarters AS (
    SELECT UNNEST(generate_series(CAST(first_day AS TIMESTAMP), CAST($as_of AS TIMESTAMP), INTERVAL '3 months')) AS starts
    FROM first_day
    WHERE first_day IS NOT NULL
),
named AS (
    SELECT CAST(EXTRACT(YEAR FROM starts) AS VARCHAR) || '-Q' || CAST(EXTRACT(QUARTER FROM starts) AS VARCHAR) AS period, starts
    FROM quarters
)
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
