-- One row is a battery in service: its chance of failing within $horizon_days if nothing is done, ranked.
-- Reads lives, the model's chances, open calls, the last test, its trend and sessions. A battery that was called for
-- and found worn or failed since, with no replacement yet and $trouble_days not over, stands first with a
-- chance of 1, until failed_until. One that was called for and not found fit since has failed already with the chance that
-- such calls prove to, or fails as the model says. reasons are null for a battery only just on record.
WITH last_test AS (
    SELECT * FROM battery_condition WHERE recency = 1
),
flooded AS (
    SELECT vin, COUNT(*) AS supply_floods, MAX(CAST(started_at AS DATE)) AS last_flood_on
    FROM code_flood
    WHERE cause = 'supply' AND days_between(CAST(started_at AS DATE), $as_of) <= 91
    GROUP BY vin
),
chanced AS (
    SELECT l.vin, l.position, l.battery_no, l.unit_no, l.depot, l.make, l.model, l.powertrain, l.chemistry,
           l.battery_group, l.rating_value, l.rating_standard, l.installed_on, l.evidence, l.uncertainty_days,
           CASE WHEN l.certainty = 'certain' THEN l.failed_on END AS failed_on,
           CASE WHEN l.certainty = 'certain' THEN day_plus(l.failed_on, $trouble_days) END AS failed_until,
           o.called_on, o.open_until AS call_open_until, o.since_then AS since_call, o.calls AS calls_alike, o.proved AS calls_proved,
           CAST(days_between(l.installed_on, $as_of) AS DOUBLE) AS age_days,
           CASE WHEN l.certainty = 'certain' THEN 1.0
                WHEN o.vin IS NOT NULL THEN 1 - (1 - o.chance) * (1 - COALESCE(c.chance, 0)) ELSE c.chance END AS chance,
           CASE WHEN l.certainty = 'certain' THEN 1.0
                WHEN o.vin IS NOT NULL THEN 1 - (1 - o.chance_lower) * (1 - COALESCE(c.chance_lower, 0)) ELSE c.chance_lower END AS chance_lower,
           CASE WHEN l.certainty = 'certain' THEN 1.0
                WHEN o.vin IS NOT NULL THEN 1 - (1 - o.chance_upper) * (1 - COALESCE(c.chance_upper, 0)) ELSE c.chance_upper END AS chance_upper,
           CASE WHEN o.vin IS NOT NULL THEN 1 - (1 - o.chance_lower) * (1 - COALESCE(c.chance_fit_lower, 0)) ELSE c.chance_fit_lower END AS chance_fit_lower,
           CASE WHEN o.vin IS NOT NULL THEN 1 - (1 - o.chance_upper) * (1 - COALESCE(c.chance_fit_upper, 0)) ELSE c.chance_fit_upper END AS chance_fit_upper,
           c.expected_health,
           c.reasons,
           COALESCE(c.model_version, 'none') AS model_version
    FROM battery_life l
    LEFT JOIN battery_chance c ON c.vin = l.vin AND c.position = l.position AND c.battery_no = l.battery_no
    LEFT JOIN open_call o ON o.vin = l.vin AND o.position = l.position AND o.battery_no = l.battery_no
    WHERE l.in_service
)
SELECT c.*, t.tested_on, t.verdict, t.health, t.rest_voltage_v, t.rule,
       tr.health_per_year, tr.health_per_year_lower, tr.health_per_year_upper,
       COALESCE(fl.supply_floods, 0) AS supply_floods, fl.last_flood_on,
       ROW_NUMBER() OVER (ORDER BY c.chance DESC NULLS LAST, c.age_days DESC, c.vin, c.position) AS rank
FROM chanced c
LEFT JOIN last_test t ON t.vin = c.vin AND t.position = c.position AND t.battery_no = c.battery_no
LEFT JOIN condition_trend tr ON tr.vin = c.vin AND tr.position = c.position AND tr.battery_no = c.battery_no
LEFT JOIN flooded fl ON fl.vin = c.vin
