-- One row is a cohort in a period: the failures to be expected of it, were its batteries at each age to
-- fail as often as the fleet's.
-- Reads cohort_life and cohort_period. Indirect standardisation (Breslow and Day, Statistical Methods in
-- Cancer Research II, IARC 1987, section 2.3): the fleet's failures per day in each half year of age,
-- in the same period, times the cohort's days in it. The fleet holds the cohort, so expected failures of
-- all cohorts of a kind add up to those that were seen.
WITH spans AS (
    SELECT c.cohort_kind, c.cohort, p.period,
           CAST(c.exit_age_days AS BIGINT) - days_between(GREATEST(c.entered_on, p.starts_on), c.exited_on) AS from_age,
           CAST(c.exit_age_days AS BIGINT) - days_between(LEAST(c.exited_on, p.ends_on), c.exited_on) AS to_age,
           c.failed AND c.exited_on >= p.starts_on AND c.exited_on < p.ends_on AS failed
    FROM cohort_period p
    JOIN cohort_life c ON c.entered_on < p.ends_on
     AND (c.exited_on > p.starts_on OR c.failed AND c.exited_on = p.starts_on)
),
-- A day of age belongs to the half year it ends in: half year 0 is the ages 1 to 183.
ages AS (
    SELECT *, (to_age - 1) / 183 AS last_half,
           UNNEST(generate_series(LEAST(from_age, to_age - 1) / 183, (to_age - 1) / 183)) AS half
    FROM spans
),
counted AS (
    SELECT cohort_kind, cohort, period, half,
           SUM(LEAST(to_age, 183 * half + 183) - GREATEST(from_age, 183 * half)) AS battery_days,
           SUM(CASE WHEN failed AND half = last_half THEN 1 ELSE 0 END) AS failures
    FROM ages
    GROUP BY cohort_kind, cohort, period, half
),
-- Summed in the order of age, so that a sum is the same in every bit whenever it is made.
summed AS (
    SELECT c.cohort_kind, c.cohort, c.period,
           SUM(COALESCE(c.battery_days * (CAST(f.failures AS DOUBLE) / NULLIF(f.battery_days, 0)), 0)) OVER rising AS expected_failures,
           ROW_NUMBER() OVER rising AS place,
           COUNT(*) OVER (PARTITION BY c.cohort_kind, c.cohort, c.period) AS places
    FROM counted c
    JOIN counted f ON f.cohort_kind = 'fleet' AND f.period = c.period AND f.half = c.half
    WINDOW rising AS (PARTITION BY c.cohort_kind, c.cohort, c.period ORDER BY c.half ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
)
SELECT cohort_kind, cohort, period, expected_failures FROM summed WHERE place = places
