-- One row is a step of a survival curve: the share of batteries still good at an age in days.
-- Reads battery_life: Kaplan-Meier with log-log 95 % limits, of each chemistry and the whole fleet. Where all that
-- were followed at first failed before others came under watch, the curve is of batteries that reach given_age_days.
SELECT cohort_kind, cohort, step['age'] AS age_days, step['at_risk'] AS at_risk,
       step['failures'] AS failures, step['survival'] AS survival,
       step['lower'] AS lower, step['upper'] AS upper, step['given_age'] AS given_age_days
FROM (
    SELECT 'chemistry' AS cohort_kind, chemistry AS cohort,
           UNNEST(survival_steps(entry_age_days, exit_age_days, failed)) AS step
    FROM battery_life WHERE chemistry IS NOT NULL GROUP BY chemistry
    UNION ALL
    SELECT 'fleet', 'all batteries', UNNEST(survival_steps(entry_age_days, exit_age_days, failed))
    FROM battery_life
)
