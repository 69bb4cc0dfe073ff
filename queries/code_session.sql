-- One row is a session: the scans of one vehicle that lie within $session_gap_hours of each other.
-- Reads scans and their codes. A scan exported twice counts once. Shares are of distinct codes.
WITH scans AS (
    SELECT scan_id, vin, scanned_at,
           MAX(modules_asked) AS modules_asked, MAX(modules_answered) AS modules_answered,
           MIN(supply_voltage_v) AS supply_voltage_v, MAX(odometer_km) AS odometer_km, MAX(shop) AS shop
    FROM code_scan
    GROUP BY scan_id, vin, scanned_at
),
gaps AS (
    SELECT *,
           CASE WHEN EXTRACT(EPOCH FROM scanned_at) - LAG(EXTRACT(EPOCH FROM scanned_at)) OVER one_vehicle
                     <= 3600.0 * $session_gap_hours
                THEN 0 ELSE 1 END AS opens
    FROM scans
    WINDOW one_vehicle AS (PARTITION BY vin ORDER BY scanned_at, scan_id)
),
numbered AS (
    SELECT *, SUM(opens) OVER (PARTITION BY vin ORDER BY scanned_at, scan_id) AS session_no FROM gaps
),
sessions AS (
    SELECT vin, session_no, MIN(scanned_at) AS started_at, MAX(scanned_at) AS ended_at,
           COUNT(*) AS scans, MAX(modules_asked) AS modules_asked, MIN(modules_answered) AS modules_answered,
           MIN(supply_voltage_v) AS supply_voltage_v, MAX(odometer_km) AS odometer_km, MAX(shop) AS shop
    FROM numbered
    GROUP BY vin, session_no
),
codes AS (
    SELECT DISTINCT n.vin, n.session_no, c.module_address, c.code,
           code_group(c.code, c.failure_type, v.make) AS code_group
    FROM trouble_code c
    LEFT JOIN fleet_vehicle v ON v.vin = c.vin
    JOIN numbered n ON n.scan_id = c.scan_id AND n.vin = c.vin AND n.scanned_at = c.scanned_at
),
counted AS (
    SELECT vin, session_no,
           COUNT(DISTINCT module_address || ' ' || code) AS codes,
           COUNT(DISTINCT module_address) AS modules,
           SUM(CASE WHEN code_group = 'supply voltage' THEN 1 ELSE 0 END) AS supply_codes,
           SUM(CASE WHEN code_group = 'lost communication' THEN 1 ELSE 0 END) AS lost_codes,
           COUNT(DISTINCT CASE WHEN code_group = 'lost communication' THEN code END) AS lost_targets
    FROM codes
    GROUP BY vin, session_no
)
SELECT s.vin, s.session_no, s.started_at, s.ended_at, s.scans, s.modules_asked, s.modules_answered,
       s.supply_voltage_v, s.odometer_km, s.shop,
       COALESCE(c.codes, 0) AS codes, COALESCE(c.modules, 0) AS modules,
       COALESCE(c.supply_codes, 0) AS supply_codes, COALESCE(c.lost_codes, 0) AS lost_codes,
       COALESCE(c.lost_targets, 0) AS lost_targets
FROM sessions s
LEFT JOIN counted c ON c.vin = s.vin AND c.session_no = s.session_no
