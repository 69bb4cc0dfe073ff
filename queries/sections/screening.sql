-- One row is a vehicle of which anything is on record, with what a buyer or seller wants to know of its
-- 12 V supply.
-- Reads the register, batteries, tests, the last scan, clears, floods, latched codes, recoveries, the ranking.
-- A vehicle that the register does not know is here too, with what dumps say of it; what nobody wrote
-- down is null. The test is the last one of the battery that is in now. Codes to trace are those of the
-- last scan that nothing else here explains: not latched, not of a flood that stands, not pending alone;
-- a permanent one always is.
WITH known AS (
    SELECT vin FROM fleet_vehicle
    UNION SELECT vin FROM battery_test
    UNION SELECT vin FROM code_scan
    UNION SELECT vin FROM work_order
),
battery AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY battery_no DESC) AS recency
    FROM battery_life WHERE position = 'main' AND installed_on IS NOT NULL
),
ordered AS (
    SELECT vin, MAX(installed_on) AS installed_on, MAX(fitted_at) AS fitted_at
    FROM battery_install WHERE position = 'main' AND order_no IS NOT NULL
    GROUP BY vin
),
coded AS (
    SELECT vin, MAX(date_code_month(date_code, CAST(tested_at AS DATE))) AS made_on
    FROM battery_test
    WHERE position = 'main' AND date_code IS NOT NULL
    GROUP BY vin
),
of_present AS (
    SELECT t.vin, t.tested_on, t.tested_at, t.verdict, t.health, t.rest_voltage_v, t.rule, t.chemistry
    FROM battery_condition t
    JOIN battery b ON b.vin = t.vin AND b.battery_no = t.battery_no AND b.recency = 1
    WHERE t.position = 'main'
    UNION ALL
    -- Outside the register there are no lives: the last order, else the date code, parts old from new.
    SELECT t.vin, t.tested_on, t.tested_at, t.verdict, t.health, t.rest_voltage_v, t.rule, t.chemistry
    FROM test_verdict t
    LEFT JOIN battery b ON b.vin = t.vin AND b.recency = 1
    LEFT JOIN ordered o ON o.vin = t.vin
    LEFT JOIN coded c ON c.vin = t.vin
    WHERE t.position = 'main' AND b.vin IS NULL
      AND CASE WHEN o.vin IS NOT NULL
               THEN t.tested_on > o.installed_on
                 OR (t.tested_on = o.installed_on AND COALESCE(t.tested_at > o.fitted_at, FALSE))
               ELSE COALESCE(t.tested_on >= c.made_on, TRUE) END
),
tested AS (
    SELECT *, ROW_NUMBER() OVER (
               PARTITION BY vin ORDER BY tested_at DESC, health NULLS LAST, rest_voltage_v NULLS LAST) AS recency
    FROM of_present
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
),
stored AS (
    SELECT s.vin, c.module_address, c.code,
           BOOL_OR(l.code IS NOT NULL) AS latched,
           BOOL_OR(COALESCE(c.permanent, FALSE)) AS permanent,
           BOOL_AND(COALESCE(c.pending, FALSE) AND NOT COALESCE(c.confirmed, FALSE)) AS only_pending,
           -- The last flood, where this scan shows it and nothing proves it over.
           BOOL_OR(f.session_no = n.session_no AND r.proven_on IS NULL
                   AND days_between(CAST(f.started_at AS DATE), $as_of) <= $lookback_days) AS of_flood
    FROM last_scan s
    JOIN trouble_code c ON c.vin = s.vin AND c.scan_id = s.scan_id AND c.scanned_at = s.scanned_at
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
    LEFT JOIN latched_code l ON l.make = v.make AND l.model = v.model
     AND l.module_address = c.module_address AND l.code = c.code AND l.latched
    LEFT JOIN scan_session n ON n.vin = s.vin AND n.scan_id = s.scan_id AND n.scanned_at = s.scanned_at
    LEFT JOIN flooded f ON f.vin = s.vin AND f.recency = 1
    LEFT JOIN recovered r ON r.vin = s.vin AND r.recency = 1
    GROUP BY s.vin, c.module_address, c.code
),
explained AS (
    SELECT vin,
           SUM(CASE WHEN latched THEN 1 ELSE 0 END) AS latched_codes,
           MIN(CASE WHEN latched THEN code END) AS latched_example,
           SUM(CASE WHEN permanent OR NOT (latched OR only_pending OR COALESCE(of_flood, FALSE)) THEN 1 ELSE 0 END) AS codes_to_trace,
           SUM(CASE WHEN only_pending AND NOT (permanent OR latched OR COALESCE(of_flood, FALSE)) THEN 1 ELSE 0 END) AS pending_codes
    FROM stored
    GROUP BY vin
)
SELECT k.vin, v.unit_no, v.depot, v.make, v.model, v.model_year, v.powertrain, v.vin IS NOT NULL AS in_register,
       COALESCE(v.chemistry, t.chemistry) AS chemistry,
       COALESCE(b.installed_on, o.installed_on, c.made_on) AS installed_on,
       CASE WHEN b.vin IS NOT NULL THEN b.evidence WHEN o.vin IS NOT NULL THEN 'work order'
            WHEN c.made_on IS NOT NULL THEN 'date code' END AS evidence,
       CASE WHEN b.vin IS NOT NULL THEN b.uncertainty_days WHEN o.vin IS NOT NULL THEN 1
            WHEN c.made_on IS NOT NULL THEN 60 END AS uncertainty_days,
       CAST(days_between(COALESCE(b.installed_on, o.installed_on, c.made_on), $as_of) AS DOUBLE) AS age_days,
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
LEFT JOIN battery b ON b.vin = k.vin AND b.recency = 1
LEFT JOIN ordered o ON o.vin = k.vin
LEFT JOIN coded c ON c.vin = k.vin
LEFT JOIN ever_tested e ON e.vin = k.vin
LEFT JOIN tested t ON t.vin = k.vin AND t.recency = 1
LEFT JOIN replacement_plan p ON p.vin = k.vin AND p.position = 'main'
LEFT JOIN last_scan s ON s.vin = k.vin
LEFT JOIN checked d ON d.vin = s.vin AND d.scan_id = s.scan_id AND d.scanned_at = s.scanned_at
LEFT JOIN flooded f ON f.vin = k.vin AND f.recency = 1
LEFT JOIN recovered r ON r.vin = k.vin AND r.recency = 1
LEFT JOIN explained x ON x.vin = k.vin
