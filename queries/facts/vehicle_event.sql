-- One row is a day on which something was heard of a vehicle, and what.
-- Reads the register, tests, scans and order lines.
SELECT DISTINCT vin, seen_on AS day, 'register' AS heard_by FROM vehicle
UNION ALL
SELECT DISTINCT vin, tested_on, 'test' FROM dated_test
UNION ALL
SELECT DISTINCT vin, COALESCE(local_day, CAST(scanned_at AS DATE)), 'scan' FROM code_scan
UNION ALL
SELECT DISTINCT vin, opened_on, 'order' FROM order_line
