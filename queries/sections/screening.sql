-- One row is a vehicle of which anything is on record, with what a buyer or seller wants to know of its
-- 12 V supply.
-- Reads the register, batteries, tests, the last scan, clears, floods, latched codes, recoveries, the ranking.
-- A vehicle that the register does not know is here too, with what dumps say of it; what nobody wrote
-- down is null. The test is the last one of the battery that is in now.
WITH known AS (
    SELECT vin FROM fleet_vehicle
    UNION SELECT vin FROM battery_test
    UNION SELECT vin FROM code_scan
    UNION SELECT vin FROM work_order
),
ever_tested AS (
    SELECT vin, COUNT(*) AS tests FROM test_verdict WHERE position = 'main' GROUP BY vin
),
checked AS (
    SELECT DISTINCT vin, after_scan_id AS scan_id, after_at AS scanned_at FROM code_clear WHERE after_scan_id IS NOT NULL
),
flooded AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY started_at DESC) AS recency FROM code_flood
),
recovered AS (
    SELECT vin, proven_on, opened_on, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY opened_on DESC) AS recency
    FROM recovery_case
)
SELECT k.vin, v.unit_no, v.depot, v.make, v.model, v.model_year, v.powertrain, v.vin IS NOT NULL AS in_register,
       COALESCE(v.chemistry, t.chemistry) AS chemistry,
       b.installed_on, b.evidence, b.uncertainty_days,
       CAST(days_between(b.installed_on, $as_of) AS DOUBLE) AS age_days,
       COALESCE(e.tests, 0) AS tests_on_record, t.tested_on, t.verdict, t.health, t.rest_voltage_v, t.rule,
       days_between(t.tested_on, $as_of) > $test_stale_days AS test_is_stale,
       p.chance, p.chance_lower, p.chance_upper,
       s.scanned_on, s.codes, s.permanent_codes, s.supply_voltage_v, s.monitors_ready, s.monitors_supported,
       s.warm_ups_since_clear, s.km_since_clear,
       days_between(s.scanned_on, $as_of) > $lookback_days AS scan_is_old,
       -- A scan of long ago, or the one that checked a clear on record, hides nothing.
       s.cleared_shortly_before AND days_between(s.scanned_on, $as_of) <= $lookback_days
         AND d.vin IS NULL AS cleared_shortly_before,
       CAST(f.started_at AS DATE) AS flood_on, f.cause AS flood_cause, f.codes AS flood_codes,
       f.modules AS flood_modules,
       days_between(CAST(f.started_at AS DATE), $as_of) <= $lookback_days AS flood_is_recent,
       r.proven_on IS NOT NULL AS flood_is_proven,
       COALESCE(x.latched_codes, 0) AS latched_codes, x.latched_example,
       COALESCE(x.codes_to_trace, 0) AS codes_to_trace, COALESCE(x.pending_codes, 0) AS pending_codes
FROM known k
LEFT JOIN fleet_vehicle v ON v.vin = k.vin
LEFT JOIN present_main_battery b ON b.vin = k.vin
LEFT JOIN ever_tested e ON e.vin = k.vin
LEFT JOIN present_main_test t ON t.vin = k.vin
LEFT JOIN replacement_plan p ON p.vin = k.vin AND p.position = 'main'
LEFT JOIN last_scan s ON s.vin = k.vin
LEFT JOIN checked d ON d.vin = s.vin AND d.scan_id = s.scan_id AND d.scanned_at = s.scanned_at
LEFT JOIN flooded f ON f.vin = k.vin AND f.recency = 1
LEFT JOIN recovered r ON r.vin = k.vin AND r.recency = 1
LEFT JOIN codes_explained x ON x.vin = k.vin
