-- One row is a cohort in a period: failures per 1,000 battery-months with exact 95 % limits.
-- Reads battery_life. A battery counts in every period it was under observation in, for the days of
-- it; cohorts are each of chemistry, group, model, powertrain, depot, install quarter, source and
-- the whole fleet. Periods are all time, the last 52 weeks, the 52 weeks before and each quarter.
WITH life AS (
    SELECT vin, entered_on, exited_on, failed,
           COALESCE(chemistry, 'not known') AS chemistry,
           COALESCE(battery_group, 'not known') AS battery_group,
           COALESCE(make || ' ' || model, model, 'not known') AS model,
           COALESCE(powertrain, 'not known') AS powertrain,
           depot,
           CAST(EXTRACT(YEAR FROM installed_on) AS VARCHAR) || '-Q' || CAST(EXTRACT(QUARTER FROM installed_on) AS VARCHAR) AS install_quarter,
           source
    FROM battery_life
    WHERE exited_on > entered_on
),
first_day AS (SELECT date_trunc('quarter', MIN(entered_on)) AS first_day FROM life),
quarters AS (
    SELECT UNNEST(generate_series(CAST(first_day AS TIMESTAMP), CAST($as_of AS TIMESTAMP), INTERVAL '3 months')) AS starts
    FROM first_day
    WHERE first_day IS NOT NULL
),
periods AS (
    SELECT 'all' AS period, CAST('1900-01-01' AS DATE) AS starts_on, day_plus($as_of, 1) AS ends_on
    UNION ALL
    SELECT 'last 52 weeks', day_plus($as_of, -363), day_plus($as_of, 1)
    UNION ALL
    SELECT '52 weeks before', day_plus($as_of, -727), day_plus($as_of, -363)
    UNION ALL
    SELECT CAST(EXTRACT(YEAR FROM starts) AS VARCHAR) || '-Q' || CAST(EXTRACT(QUARTER FROM starts) AS VARCHAR),
           CAST(starts AS DATE), CAST(starts + INTERVAL '3 months' AS DATE)
    FROM quarters
),
cohorts AS (
    SELECT 'fleet' AS cohort_kind, 'all batteries' AS cohort, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'chemistry', chemistry, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'battery group', battery_group, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'model', model, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'powertrain', powertrain, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'depot', depot, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'install quarter', install_quarter, entered_on, exited_on, failed FROM life
    UNION ALL SELECT 'source', source, entered_on, exited_on, failed FROM life
),
counted AS (
    SELECT c.cohort_kind, c.cohort, p.period,
           COUNT(*) AS batteries,
           SUM(CASE WHEN c.failed AND c.exited_on >= p.starts_on AND c.exited_on < p.ends_on THEN 1 ELSE 0 END) AS failures,
           SUM(days_between(GREATEST(c.entered_on, p.starts_on), LEAST(c.exited_on, p.ends_on))) / 30.4375 AS battery_months
    FROM cohorts c
    JOIN periods p ON c.entered_on < p.ends_on AND c.exited_on > p.starts_on
    GROUP BY c.cohort_kind, c.cohort, p.period
)
SELECT cohort_kind, cohort, period, batteries, failures, battery_months,
       rate['rate'] AS failures_per_1000_months,
       rate['lower'] AS lower,
       rate['upper'] AS upper
FROM (SELECT *, rate_limits(failures, battery_months / 1000.0) AS rate FROM counted)
