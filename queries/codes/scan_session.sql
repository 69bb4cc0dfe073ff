-- One row is a scan with the session it belongs to: scans of one vehicle within $session_gap_hours of
-- each other are one session.
-- Reads scans and counts their codes. A scan exported twice counts once.
WITH scans AS (
    SELECT scan_id, vin, scanned_at,
           MAX(odometer_km) AS odometer_km,
           MAX(modules_asked) AS modules_asked, MIN(modules_answered) AS modules_answered,
           MIN(supply_voltage_v) AS supply_voltage_v,
           MIN(monitors_ready) AS monitors_ready, MAX(monitors_supported) AS monitors_supported,
           MIN(km_since_clear) AS km_since_clear, MIN(warm_ups_since_clear) AS warm_ups_since_clear,
           MAX(shop) AS shop, MAX(technician) AS technician
    FROM code_scan
    GROUP BY scan_id, vin, scanned_at
),
-- Distinct first, then counted: counting distinct values in each of many small groups costs gigabytes.
counted AS (
    SELECT scan_id, vin, scanned_at, COUNT(*) AS codes
    FROM (SELECT DISTINCT scan_id, vin, scanned_at, module_address, code FROM trouble_code)
    GROUP BY scan_id, vin, scanned_at
),
gaps AS (
    SELECT s.*, COALESCE(c.codes, 0) AS codes,
           CASE WHEN EXTRACT(EPOCH FROM s.scanned_at) - LAG(EXTRACT(EPOCH FROM s.scanned_at)) OVER one_vehicle
                     <= 3600.0 * $session_gap_hours
                THEN 0 ELSE 1 END AS opens
    FROM scans s
    LEFT JOIN counted c ON c.scan_id = s.scan_id AND c.vin = s.vin AND c.scanned_at = s.scanned_at
    WINDOW one_vehicle AS (PARTITION BY s.vin ORDER BY s.scanned_at, s.scan_id)
)
SELECT * EXCEPT (opens),
       SUM(opens) OVER (PARTITION BY vin ORDER BY scanned_at, scan_id) AS session_no
FROM gaps
