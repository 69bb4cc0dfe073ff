-- One row is a battery in service: its chance of failing within $horizon_days, ranked.
-- Reads lives, the fits, the last test and its effect. The age-conditional chance comes from the
-- chemistry's Weibull fit where that rests on 20 failures or more, else from the fleet's; the hazard is
-- multiplied by what batteries with such a last test went on to do.
WITH last_test AS (
    SELECT * FROM battery_condition WHERE recency = 1
),
flooded AS (
    SELECT vin, COUNT(*) AS supply_floods, MAX(CAST(started_at AS DATE)) AS last_flood_on
    FROM code_flood
    WHERE cause = 'supply' AND days_between(CAST(started_at AS DATE), $as_of) <= 91
    GROUP BY vin
),
based AS (
    SELECT l.*,
           CAST(days_between(l.installed_on, $as_of) AS DOUBLE) AS age_days,
           CASE WHEN c.fit['failures'] >= 20 AND c.fit['shape'] IS NOT NULL THEN c.fit ELSE f.fit END AS fit,
           CASE WHEN c.fit['failures'] >= 20 AND c.fit['shape'] IS NOT NULL THEN l.chemistry ELSE 'whole fleet' END AS fitted_to,
           t.tested_on, t.verdict, t.health, t.rest_voltage_v, t.rule, t.age_days AS tested_age_days,
           CASE WHEN t.tested_on IS NULL OR days_between(t.tested_on, $as_of) > $test_stale_days THEN 'untested'
                WHEN t.verdict IN ('failed', 'worn') THEN 'failed or worn'
                WHEN t.verdict = 'discharged' THEN 'discharged'
                WHEN t.health < 0.85 THEN 'fading'
                WHEN t.verdict = 'fit' THEN 'fit'
                ELSE 'untested' END AS band
    FROM battery_life l
    CROSS JOIN (SELECT fit FROM life_fit WHERE cohort_kind = 'fleet') f
    LEFT JOIN life_fit c ON c.cohort_kind = 'chemistry' AND c.cohort = l.chemistry
    LEFT JOIN last_test t ON t.vin = l.vin AND t.position = l.position AND t.battery_no = l.battery_no
    WHERE l.in_service
),
chanced AS (
    SELECT b.*, COALESCE(e.ratio, 1.0) AS test_ratio,
           weibull_chance(b.fit, b.age_days, CAST($horizon_days AS DOUBLE)) AS by_age
    FROM based b
    LEFT JOIN test_effect e ON e.band = b.band AND b.band <> 'untested'
)
SELECT c.vin, c.position, c.battery_no, c.unit_no, c.depot, c.make, c.model, c.powertrain, c.chemistry,
       c.battery_group, c.rating_value, c.rating_standard, c.installed_on, c.evidence, c.uncertainty_days,
       c.age_days, c.fitted_to, c.tested_on, c.verdict, c.health, c.rest_voltage_v, c.rule, c.band, c.test_ratio,
       c.failed_on, tr.health_per_year, tr.health_per_year_lower, tr.health_per_year_upper,
       COALESCE(fl.supply_floods, 0) AS supply_floods, fl.last_flood_on,
       CASE WHEN c.failed_on IS NOT NULL THEN 1.0 ELSE 1 - POWER(1 - c.by_age['chance'], c.test_ratio) END AS chance,
       CASE WHEN c.failed_on IS NOT NULL THEN 1.0 ELSE 1 - POWER(1 - c.by_age['lower'], c.test_ratio) END AS chance_lower,
       CASE WHEN c.failed_on IS NOT NULL THEN 1.0 ELSE 1 - POWER(1 - c.by_age['upper'], c.test_ratio) END AS chance_upper,
       ROW_NUMBER() OVER (
           ORDER BY CASE WHEN c.failed_on IS NOT NULL THEN 1.0 ELSE 1 - POWER(1 - c.by_age['chance'], c.test_ratio) END DESC NULLS LAST,
                    c.age_days DESC, c.vin, c.position
       ) AS rank
FROM chanced c
LEFT JOIN condition_trend tr ON tr.vin = c.vin AND tr.position = c.position AND tr.battery_no = c.battery_no
LEFT JOIN flooded fl ON fl.vin = c.vin
