-- One row is a happening that bears on a recovery: a flood of the supply, a vehicle that did not
-- start, a test, a restored supply, a clear, a scan.
-- Reads floods, orders, tests, clears and scans. A scan shows the supply where a code's group says
-- so, where the vehicle's last supply flood held the same lost communication or implausible signal, and
-- where a code stands that is known to latch in this model or, after a flood, survived a clear.
-- Companion codes, which only point elsewhere, do not count, nor do other faults that happened to
-- stand during the flood.
WITH supply_flood AS (
    SELECT vin, session_no, codes FROM code_flood WHERE cause = 'supply'
),
flood_scan AS (
    SELECT f.vin, f.session_no, MIN(n.scanned_at) AS scanned_at
    FROM supply_flood f
    JOIN scan_session n ON n.vin = f.vin AND n.session_no = f.session_no AND 2 * n.codes >= f.codes
    GROUP BY f.vin, f.session_no
),
shown AS (
    SELECT DISTINCT n.vin, n.scan_id, n.scanned_at, n.session_no, c.module_address, c.code
    FROM scan_session n
    JOIN trouble_code c ON c.scan_id = n.scan_id AND c.vin = n.vin AND c.scanned_at = n.scanned_at
),
last_flood AS (
    SELECT n.vin, n.session_no, MAX(f.session_no) AS flood_no
    FROM (SELECT DISTINCT vin, session_no FROM shown) n
    JOIN supply_flood f ON f.vin = n.vin AND f.session_no <= n.session_no
    GROUP BY n.vin, n.session_no
),
survivor AS (
    SELECT DISTINCT k.vin, b.module_address, b.code
    FROM code_clear k
    JOIN shown b ON b.vin = k.vin AND b.scan_id = k.before_scan_id AND b.scanned_at = k.before_at
    JOIN shown a ON a.vin = k.vin AND a.scan_id = k.after_scan_id AND a.scanned_at = k.after_at
     AND a.module_address = b.module_address AND a.code = b.code
),
of_supply AS (
    SELECT s.vin, s.scan_id, s.scanned_at, BOOL_OR(x.make IS NOT NULL OR (f.vin IS NOT NULL AND h.vin IS NOT NULL)) AS latched
    FROM shown s
    JOIN session_code g ON g.vin = s.vin AND g.session_no = s.session_no
     AND g.module_address = s.module_address AND g.code = s.code
    LEFT JOIN last_flood l ON l.vin = s.vin AND l.session_no = s.session_no
    LEFT JOIN session_code f ON f.vin = s.vin AND f.session_no = l.flood_no
     AND f.module_address = s.module_address AND f.code = s.code
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
    LEFT JOIN companion_code p ON p.make = v.make AND p.model = v.model
     AND p.module_address = s.module_address AND p.code = s.code AND p.companion
    LEFT JOIN latched_code x ON x.make = v.make AND x.model = v.model
     AND x.module_address = s.module_address AND x.code = s.code AND x.latched
    LEFT JOIN survivor h ON h.vin = s.vin AND h.module_address = s.module_address AND h.code = s.code
    WHERE p.make IS NULL
      AND (g.code_group = 'supply voltage' OR x.make IS NOT NULL
           OR (f.vin IS NOT NULL AND (g.code_group <> 'other' OR h.vin IS NOT NULL)))
    GROUP BY s.vin, s.scan_id, s.scanned_at
)
SELECT vin, 'flood' AS event, scanned_at AS began_at, scanned_at AS done_at,
       CAST(NULL AS BOOLEAN) AS found_fit, CAST(NULL AS BOOLEAN) AS any_code, CAST(NULL AS BOOLEAN) AS supply_code,
       CAST(NULL AS BOOLEAN) AS latched_code, CAST(NULL AS BOOLEAN) AS monitors_ready, CAST(NULL AS DOUBLE) AS km_since_clear
FROM flood_scan
UNION ALL
SELECT vin, 'no-start', MIN(opened_at), MIN(opened_at) AS done_at, NULL, NULL, NULL, NULL, NULL, NULL
FROM work_order
WHERE operation IN ('no-start call', 'jump start', 'tow') AND (cause IS NULL OR cause IN ('supply', 'charging'))
GROUP BY vin, order_no
UNION ALL
SELECT vin, 'supply tested', tested_at, tested_at AS done_at, BOOL_OR(verdict = 'fit'), NULL, NULL, NULL, NULL, NULL
FROM test_verdict
GROUP BY vin, tested_at
UNION ALL
-- A test that the order names and no tester exported.
SELECT w.vin, 'supply tested', MIN(w.opened_at), MIN(w.opened_at) AS done_at, NULL, NULL, NULL, NULL, NULL, NULL
FROM work_order w
LEFT JOIN battery_test t ON t.vin = w.vin
 AND t.tested_at BETWEEN w.opened_at AND COALESCE(w.closed_at, w.opened_at + INTERVAL '1 day')
WHERE w.operation = 'battery tested' AND t.vin IS NULL
GROUP BY w.vin, w.order_no
UNION ALL
-- On one visit the supply is put right before the codes are cleared.
SELECT w.vin, 'supply restored', MIN(w.opened_at),
       COALESCE(MIN(k.cleared_at), MAX(COALESCE(w.closed_at, w.opened_at))), NULL, NULL, NULL, NULL, NULL, NULL
FROM work_order w
LEFT JOIN code_clear k ON k.vin = w.vin AND k.order_no = w.order_no
WHERE w.operation IN ('battery replaced', 'battery charged')
GROUP BY w.vin, w.order_no
UNION ALL
SELECT vin, 'codes cleared', opened_at, cleared_at, NULL, NULL, NULL, NULL, NULL, NULL
FROM code_clear
UNION ALL
SELECT n.vin, 'scan', n.scanned_at, n.scanned_at AS done_at, NULL, n.codes > 0, o.vin IS NOT NULL, COALESCE(o.latched, false),
       n.monitors_supported IS NULL OR n.monitors_ready >= n.monitors_supported, n.km_since_clear
FROM scan_session n
LEFT JOIN of_supply o ON o.vin = n.vin AND o.scan_id = n.scan_id AND o.scanned_at = n.scanned_at
