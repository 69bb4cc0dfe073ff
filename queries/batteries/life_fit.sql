-- One row is a chemistry, and one the whole fleet: the Weibull fit of battery life in days.
-- Reads battery_life. Late entry and batteries that have not failed count as what they are; a
-- preventive replacement ends observation here and is told apart in failure_rate's counts.
SELECT 'chemistry' AS cohort_kind, chemistry AS cohort,
       weibull_life(entry_age_days, exit_age_days, failed) AS fit
FROM battery_life WHERE chemistry IS NOT NULL GROUP BY chemistry
UNION ALL
SELECT 'fleet', 'all batteries', weibull_life(entry_age_days, exit_age_days, failed)
FROM battery_life
