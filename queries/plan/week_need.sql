-- One row is a battery in service in one of the coming 13 weeks: how likely a new one is needed then.
-- Reads battery_plan and battery_risk. planned is the chance that the plan's visit of that week replaces it,
-- failing the chance that it fails on the road in that week while the plan is kept: before the visit as it
-- would anyway, after it only where the visit kept it. Batteries that replace these are too young to count.
-- week_on is the week's first day.
WITH weeks AS (
    SELECT vin, position, advice, week AS planned_week, COALESCE(replace_share, 0.0) AS replaced,
           fails_in_week, UNNEST(GENERATE_SERIES(1, 13)) AS week
    FROM battery_plan
),
failing AS (
    SELECT *, fails_in_week[week] AS fails,
           COALESCE(SUM(fails_in_week[week]) OVER (
               PARTITION BY vin, position ORDER BY week ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0.0) AS failed_before
    FROM weeks
)
SELECT f.vin, f.position, r.depot, r.battery_group, r.chemistry, f.week,
       day_plus($as_of, 7 * (f.week - 1) + 1) AS week_on,
       CASE WHEN f.week = f.planned_week
            THEN CASE WHEN r.failed_on IS NOT NULL THEN 1.0 ELSE (1 - f.failed_before) * f.replaced END
            ELSE 0.0 END AS planned,
       CASE WHEN f.planned_week IS NULL OR f.week < f.planned_week THEN f.fails
            ELSE f.fails * (1 - f.replaced) END AS failing,
       f.fails AS failing_left_alone
FROM failing f
JOIN battery_risk r ON r.vin = f.vin AND r.position = f.position
