-- One row is a vehicle's last scan: its codes, what is permanent in it, whether codes were cleared
-- shortly before it.
-- Reads scans and their codes. Codes were cleared shortly before where the vehicle counts at most
-- $few_warm_ups warm-ups or $few_km since, and not all of its monitors have run again (where it has none,
-- the counts alone say so). A scan exported twice counts once.
WITH scans AS (
    SELECT vin, scan_id, scanned_at, MAX(odometer_km) AS odometer_km, MAX(shop) AS shop,
           MAX(modules_asked) AS modules_asked, MIN(modules_answered) AS modules_answered,
           MIN(supply_voltage_v) AS supply_voltage_v, MIN(monitors_ready) AS monitors_ready,
           MAX(monitors_supported) AS monitors_supported,
           MIN(warm_ups_since_clear) AS warm_ups_since_clear, MIN(km_since_clear) AS km_since_clear
    FROM code_scan
    GROUP BY vin, scan_id, scanned_at
),
numbered AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY scanned_at DESC, scan_id DESC) AS recency
    FROM scans
),
by_module AS (
    SELECT vin, scan_id, scanned_at, code, module_address, BOOL_OR(COALESCE(permanent, FALSE)) AS permanent
    FROM trouble_code
    GROUP BY vin, scan_id, scanned_at, code, module_address
),
by_code AS (
    SELECT vin, scan_id, scanned_at, code, COUNT(*) AS modules, BOOL_OR(permanent) AS permanent
    FROM by_module
    GROUP BY vin, scan_id, scanned_at, code
),
codes AS (
    SELECT vin, scan_id, scanned_at, SUM(modules) AS codes,
           SUM(CASE WHEN permanent THEN 1 ELSE 0 END) AS permanent_codes
    FROM by_code
    GROUP BY vin, scan_id, scanned_at
)
SELECT s.vin, s.scan_id, s.scanned_at, CAST(s.scanned_at AS DATE) AS scanned_on, s.odometer_km, s.shop,
       s.modules_asked, s.modules_answered, s.supply_voltage_v, s.monitors_ready, s.monitors_supported,
       s.warm_ups_since_clear, s.km_since_clear,
       COALESCE(c.codes, 0) AS codes, COALESCE(c.permanent_codes, 0) AS permanent_codes,
       (s.warm_ups_since_clear <= $few_warm_ups OR s.km_since_clear <= $few_km)
         AND COALESCE(s.monitors_ready < s.monitors_supported, TRUE) AS cleared_shortly_before
FROM numbered s
LEFT JOIN codes c ON c.vin = s.vin AND c.scan_id = s.scan_id AND c.scanned_at = s.scanned_at
WHERE s.recency = 1
