-- One row is a day on which something was heard of a vehicle, and in which table.
-- Reads the register, tests, scans and order lines.
SELECT DISTINCT vin, seen_on AS day, 'vehicle' AS heard_in FROM vehicle
UNION ALL
SELECT DISTINCT vin, tested_on, 'battery_test' FROM dated_test
UNION ALL
SELECT DISTINCT vin, COALESCE(local_day, CAST(scanned_at AS DATE)), 'code_scan' FROM code_scan
UNION ALL
SELECT DISTINCT vin, opened_on, 'work_order' FROM order_line
