-- One row is a session: what the scans of one vehicle showed that lie within $session_gap_hours of
-- each other.
-- Reads scans and codes by session. Shares are of distinct codes; the breadth says how many modules
-- the widest scan asked.
WITH scans AS (
    SELECT vin, session_no, MIN(scanned_at) AS started_at, MAX(scanned_at) AS ended_at,
           COUNT(*) AS scans,
           MAX(modules_asked) AS modules_asked,
           MIN(CAST(modules_answered AS DOUBLE) / NULLIF(modules_asked, 0)) AS share_answered,
           MIN(modules_answered) AS modules_answered,
           MIN(supply_voltage_v) AS supply_voltage_v,
           MAX(odometer_km) AS odometer_km, MAX(shop) AS shop, MAX(technician) AS technician,
           MAX(codes) AS most_codes,
           FIRST_VALUE(codes ORDER BY scanned_at DESC, scan_id DESC) AS last_codes,
           FIRST_VALUE(km_since_clear ORDER BY scanned_at, scan_id) AS first_km_since_clear,
           FIRST_VALUE(km_since_clear ORDER BY scanned_at DESC, scan_id DESC) AS last_km_since_clear
    FROM scan_session
    GROUP BY vin, session_no
),
by_code AS (
    SELECT vin, session_no, code, code_group, about_bus, COUNT(*) AS holders
    FROM session_code
    GROUP BY vin, session_no, code, code_group, about_bus
),
lost AS (
    SELECT vin, session_no,
           COUNT(*) AS lost_targets, MAX(holders) AS lost_to_one
    FROM by_code
    WHERE code_group = 'lost communication' AND NOT about_bus
    GROUP BY vin, session_no
),
-- By module first, since counting distinct modules in each of many small sessions costs gigabytes.
by_module AS (
    SELECT vin, session_no, module_address, COUNT(*) AS codes,
           SUM(CASE WHEN code_group = 'supply voltage' THEN 1 ELSE 0 END) AS supply_codes,
           SUM(CASE WHEN code_group = 'lost communication' THEN 1 ELSE 0 END) AS lost_codes,
           SUM(CASE WHEN code_group = 'implausible signal' THEN 1 ELSE 0 END) AS implausible_codes,
           SUM(CASE WHEN about_bus THEN 1 ELSE 0 END) AS bus_codes,
           SUM(CASE WHEN about_setup THEN 1 ELSE 0 END) AS setup_codes,
           SUM(CASE WHEN only_pending THEN 1 ELSE 0 END) AS pending_codes,
           SUM(CASE WHEN failing_now THEN 1 ELSE 0 END) AS failing_codes
    FROM session_code
    GROUP BY vin, session_no, module_address
),
counted AS (
    SELECT vin, session_no, SUM(codes) AS codes, COUNT(*) AS modules,
           SUM(supply_codes) AS supply_codes, SUM(lost_codes) AS lost_codes,
           SUM(implausible_codes) AS implausible_codes, SUM(bus_codes) AS bus_codes,
           SUM(setup_codes) AS setup_codes, SUM(pending_codes) AS pending_codes,
           SUM(failing_codes) AS failing_codes
    FROM by_module
    GROUP BY vin, session_no
)
SELECT s.vin, s.session_no, s.started_at, s.ended_at, s.scans, s.modules_asked, s.modules_answered,
       s.share_answered, s.supply_voltage_v, s.odometer_km, s.shop, s.technician,
       s.first_km_since_clear, s.last_km_since_clear,
       CASE WHEN s.modules_asked IS NULL THEN 'breadth not known'
            WHEN s.modules_asked <= 6 THEN 'up to 6 modules'
            WHEN s.modules_asked <= 12 THEN '7 to 12 modules'
            WHEN s.modules_asked <= 18 THEN '13 to 18 modules'
            ELSE 'over 18 modules' END AS breadth,
       COALESCE(c.codes, 0) AS codes, COALESCE(c.modules, 0) AS modules,
       COALESCE(c.supply_codes, 0) AS supply_codes, COALESCE(c.lost_codes, 0) AS lost_codes,
       COALESCE(c.implausible_codes, 0) AS implausible_codes,
       COALESCE(c.bus_codes, 0) AS bus_codes, COALESCE(c.setup_codes, 0) AS setup_codes,
       COALESCE(c.pending_codes, 0) AS pending_codes, COALESCE(c.failing_codes, 0) AS failing_codes,
       COALESCE(l.lost_targets, 0) AS lost_targets, COALESCE(l.lost_to_one, 0) AS lost_to_one,
       -- A further scan that shows next to nothing of it, and nobody cleared in between.
       s.scans > 1 AND s.last_codes <= 0.25 * s.most_codes
         AND COALESCE(s.last_km_since_clear > 2 AND s.last_km_since_clear >= s.first_km_since_clear, false) AS gone_by_itself
FROM scans s
LEFT JOIN counted c ON c.vin = s.vin AND c.session_no = s.session_no
LEFT JOIN lost l ON l.vin = s.vin AND l.session_no = s.session_no
