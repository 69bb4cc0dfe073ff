-- One row is a band of the last test's result: how much oftener than its age says such a battery
-- failed within the horizon after a test.
-- Reads conditions, lives and the fleet's Weibull fit. Ratio of failures seen to failures expected,
-- drawn towards 1 as by five further failures seen and expected, so a thin band says little.
WITH followed AS (
    SELECT CASE WHEN c.verdict IN ('failed', 'worn') THEN 'failed or worn'
                WHEN c.verdict = 'discharged' THEN 'discharged'
                WHEN c.health < 0.85 THEN 'fading'
                WHEN c.verdict = 'fit' THEN 'fit'
                ELSE 'untested' END AS band,
           c.age_days,
           LEAST(l.exit_age_days, c.age_days + $horizon_days) AS until_age_days,
           l.failed AND l.exit_age_days <= c.age_days + $horizon_days AS failed_then
    FROM battery_condition c
    JOIN battery_life l ON l.vin = c.vin AND l.position = c.position AND l.battery_no = c.battery_no
    WHERE c.age_days < l.exit_age_days AND c.age_days >= l.entry_age_days
),
fleet AS (SELECT fit FROM life_fit WHERE cohort_kind = 'fleet')
SELECT band, COUNT(*) AS tests,
       SUM(CASE WHEN failed_then THEN 1 ELSE 0 END) AS failures,
       SUM(-LN(1 - LEAST(weibull_chance(fit, age_days, until_age_days - age_days)['chance'], 0.999999))) AS expected,
       (SUM(CASE WHEN failed_then THEN 1 ELSE 0 END) + 5.0)
         / (SUM(-LN(1 - LEAST(weibull_chance(fit, age_days, until_age_days - age_days)['chance'], 0.999999))) + 5.0) AS ratio
FROM followed CROSS JOIN fleet
GROUP BY band
