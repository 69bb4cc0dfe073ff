-- One row is a step of a curve of how batteries end: the share ended one way by an age in days.
-- Reads battery_life: Aalen-Johansen incidence with 95 % limits of each chemistry and the whole fleet.
-- A battery replaced in good time or gone with its vehicle can no longer fail here, so its end competes
-- with failure; one less the survival curve of life_curve would overstate how many fail.
WITH ended AS (
    SELECT *, CASE outcome WHEN 'failed' THEN 1 WHEN 'preventive' THEN 2 WHEN 'left fleet' THEN 3 WHEN 'not heard of' THEN 3 ELSE 0 END AS cause
    FROM battery_life
),
curves AS (
    SELECT 'chemistry' AS cohort_kind, chemistry AS cohort,
           UNNEST(incidence_steps(entry_age_days, exit_age_days, cause)) AS step
    FROM ended WHERE chemistry IS NOT NULL GROUP BY chemistry
    UNION ALL
    SELECT 'fleet', 'all batteries', UNNEST(incidence_steps(entry_age_days, exit_age_days, cause))
    FROM ended
)
SELECT cohort_kind, cohort, step['age'] AS age_days,
       CASE step['cause'] WHEN 1 THEN 'failed' WHEN 2 THEN 'preventive' ELSE 'left fleet' END AS outcome,
       step['at_risk'] AS at_risk, step['ends'] AS ends, step['incidence'] AS incidence,
       step['lower'] AS lower, step['upper'] AS upper, step['survival'] AS still_in,
       step['given_age'] AS given_age_days
FROM curves
