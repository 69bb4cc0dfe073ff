-- One row is a code of a module that was cleared and looked for again: how often it survived plain
-- clears, and how often it was gone after a protected one.
-- Reads clears with a scan before and one after on the same visit, by model. A fault that is still
-- there comes back too and is not latched: codes that say they fail now, and those of a network
-- flood, are left out. Latched is what survives beyond $latched_share in at least $latched_clears
-- clears and on two vehicles, by exact 95 % limits.
WITH looked AS (
    SELECT k.*, v.make, v.model
    FROM code_clear k
    JOIN fleet_vehicle v ON v.vin = k.vin AND v.model IS NOT NULL
    LEFT JOIN code_flood f ON f.vin = k.vin AND f.session_no = k.before_session_no AND f.cause IN ('network', 'scan artefact')
    WHERE k.after_scan_id IS NOT NULL AND f.vin IS NULL
),
shown AS (
    SELECT scan_id, vin, scanned_at, module_address, code,
           BOOL_OR(COALESCE(status_byte, 0) & 1 = 1) AS failing_now
    FROM trouble_code
    GROUP BY scan_id, vin, scanned_at, module_address, code
),
followed AS (
    SELECT k.make, k.model, b.module_address, b.code, k.vin, k.how,
           a.vin IS NOT NULL AS survived
    FROM looked k
    JOIN shown b ON b.vin = k.vin AND b.scan_id = k.before_scan_id AND b.scanned_at = k.before_at
    LEFT JOIN shown a ON a.vin = k.vin AND a.scan_id = k.after_scan_id AND a.scanned_at = k.after_at
     AND a.module_address = b.module_address AND a.code = b.code
    WHERE NOT COALESCE(a.failing_now, false)
),
counted AS (
    SELECT make, model, module_address, code,
           SUM(CASE WHEN how = 'plain' THEN 1 ELSE 0 END) AS clears,
           SUM(CASE WHEN how = 'plain' AND survived THEN 1 ELSE 0 END) AS survived,
           COUNT(DISTINCT CASE WHEN survived THEN vin END) AS vehicles,
           SUM(CASE WHEN how = 'protected' THEN 1 ELSE 0 END) AS protected_clears,
           SUM(CASE WHEN how = 'protected' AND NOT survived THEN 1 ELSE 0 END) AS protected_gone
    FROM followed
    GROUP BY make, model, module_address, code
),
limited AS (
    SELECT *, exact_share_limits(survived, clears) AS limits FROM counted WHERE clears > 0
)
SELECT make, model, module_address, code, clears, survived, vehicles,
       limits['share'] AS share, limits['lower'] AS share_lower, limits['upper'] AS share_upper,
       protected_clears, protected_gone,
       clears >= $latched_clears AND vehicles >= 2 AND limits['lower'] > $latched_share AS latched
FROM limited
