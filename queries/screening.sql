-- One row is a vehicle of which anything is on record, with what a buyer or seller wants to know of its
-- 12 V supply.
-- Reads the register, batteries, tests, the last scan, floods, latched codes, recoveries, the ranking. A vehicle that
-- the register does not know is here too, with what dumps say of it; what nobody wrote down is null.
WITH known AS (
    SELECT vin FROM fleet_vehicle
    UNION SELECT vin FROM battery_test
    UNION SELECT vin FROM code_scan
    UNION SELECT vin FROM work_order
),
battery AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY battery_no DESC) AS recency
    FROM battery_life WHERE position = 'main'
),
coded AS (
    SELECT vin, MAX(date_code_month(date_code, CAST(tested_at AS DATE))) AS made_on
    FROM battery_test
    WHERE position = 'main' AND date_code IS NOT NULL
    GROUP BY vin
),
tested AS (
    SELECT *, ROW_NUMBER() OVER (
               PARTITION BY vin ORDER BY tested_at DESC, health NULLS LAST, rest_voltage_v NULLS LAST) AS recency
    FROM test_verdict WHERE position = 'main'
),
flooded AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY started_at DESC) AS recency FROM code_flood
),
recovered AS (
    SELECT vin, proven_on, opened_on, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY opened_on DESC) AS recency
    FROM recovery_case
),
latched AS (
    SELECT s.vin, COUNT(DISTINCT c.module_address || ' ' || c.code) AS latched_codes,
           MIN(c.code) AS latched_example
    FROM last_scan s
    JOIN trouble_code c ON c.vin = s.vin AND c.scan_id = s.scan_id AND c.scanned_at = s.scanned_at
    JOIN fleet_vehicle v ON v.vin = s.vin
    JOIN latched_code l ON l.make = v.make AND l.model = v.model
     AND l.module_address = c.module_address AND l.code = c.code AND l.latched
    GROUP BY s.vin
)
SELECT k.vin, v.unit_no, v.depot, v.make, v.model, v.model_year, v.powertrain, v.vin IS NOT NULL AS in_register,
       COALESCE(b.installed_on, c.made_on) AS installed_on,
       CASE WHEN b.vin IS NOT NULL THEN b.evidence WHEN c.made_on IS NOT NULL THEN 'date code' END AS evidence,
       CASE WHEN b.vin IS NOT NULL THEN b.uncertainty_days WHEN c.made_on IS NOT NULL THEN 60 END AS uncertainty_days,
       CAST(days_between(COALESCE(b.installed_on, c.made_on), $as_of) AS DOUBLE) AS age_days,
       t.tested_on, t.verdict, t.health, t.rest_voltage_v, t.rule,
       days_between(t.tested_on, $as_of) > $test_stale_days AS test_is_stale,
       p.chance, p.chance_lower, p.chance_upper,
       s.scanned_on, s.codes, s.permanent_codes, s.supply_voltage_v, s.monitors_ready, s.monitors_supported,
       s.warm_ups_since_clear, s.km_since_clear, s.cleared_shortly_before,
       CAST(f.started_at AS DATE) AS flood_on, f.cause AS flood_cause, f.codes AS flood_codes,
       f.modules AS flood_modules,
       days_between(CAST(f.started_at AS DATE), $as_of) <= $lookback_days AS flood_is_recent,
       r.proven_on IS NOT NULL AS flood_is_proven,
       COALESCE(l.latched_codes, 0) AS latched_codes, l.latched_example
FROM known k
LEFT JOIN fleet_vehicle v ON v.vin = k.vin
LEFT JOIN battery b ON b.vin = k.vin AND b.recency = 1
LEFT JOIN coded c ON c.vin = k.vin
LEFT JOIN tested t ON t.vin = k.vin AND t.recency = 1
LEFT JOIN replacement_plan p ON p.vin = k.vin AND p.position = 'main'
LEFT JOIN last_scan s ON s.vin = k.vin
LEFT JOIN flooded f ON f.vin = k.vin AND f.recency = 1
LEFT JOIN recovered r ON r.vin = k.vin AND r.recency = 1
LEFT JOIN latched l ON l.vin = k.vin
