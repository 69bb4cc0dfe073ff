-- One row is a step of a curve of calls: how many no-starts a vehicle has had by an age in days.
-- Reads battery_call, the watch kept and the register: Nelson's mean cumulative function with robust 95 %
-- limits, of each powertrain and the whole fleet. A vehicle is watched from its first day on the road,
-- or from the day it or its depot's work orders came under observation, until it left or $as_of.
-- A call on the first day watched came after the watch began.
WITH watched AS (
    SELECT v.vin, COALESCE(v.powertrain, 'not known') AS powertrain, v.in_service_date,
           DENSE_RANK() OVER (ORDER BY v.vin) AS unit,
           day_plus(GREATEST(v.in_service_date, o.watched_from, COALESCE(v.joined_fleet_date, v.in_service_date)), -1) AS watched_from,
           LEAST(COALESCE(v.gone_on, $as_of), $as_of) AS watched_to
    FROM fleet_vehicle v
    JOIN vehicle_watch o ON o.vin = v.vin AND o.watched_from IS NOT NULL
    WHERE v.in_service_date IS NOT NULL
),
seen AS (
    SELECT unit, powertrain, in_service_date, watched_from, watched_to AS day, FALSE AS called
    FROM watched
    UNION ALL
    SELECT w.unit, w.powertrain, w.in_service_date, w.watched_from, c.called_on, TRUE
    FROM watched w
    JOIN (SELECT DISTINCT vin, called_on FROM battery_call) c
      ON c.vin = w.vin AND c.called_on > w.watched_from AND c.called_on <= w.watched_to
),
aged AS (
    SELECT unit, powertrain, called,
           GREATEST(days_between(in_service_date, watched_from), 0) AS entry,
           days_between(in_service_date, day) AS age
    FROM seen
),
curves AS (
    SELECT 'powertrain' AS cohort_kind, powertrain AS cohort,
           UNNEST(mean_cumulative_steps(unit, entry, age, called)) AS step
    FROM aged GROUP BY powertrain
    UNION ALL
    SELECT 'fleet', 'all vehicles', UNNEST(mean_cumulative_steps(unit, entry, age, called)) FROM aged
)
SELECT cohort_kind, cohort, step['age'] AS age_days, step['at_risk'] AS at_risk,
       step['events'] AS calls, step['mean'] AS calls_per_vehicle,
       step['lower'] AS lower, step['upper'] AS upper
FROM curves
