-- One row is a depot: how far its vehicles have been seen and tested.
-- Reads the register and the last test, scan and order of each vehicle in service. silent is a depot of
-- which nothing was heard for more than $silent_days; not_tested counts vehicles without a test in
-- $test_stale_days.
SELECT v.depot, COUNT(DISTINCT v.vin) AS vehicles,
       SUM(CASE WHEN t.tested_on IS NULL OR days_between(t.tested_on, $as_of) > $test_stale_days THEN 1 ELSE 0 END) AS not_tested,
       MAX(t.tested_on) AS last_test_on,
       MAX(s.scanned_on) AS last_scan_on,
       MAX(o.opened_on) AS last_order_on,
       COALESCE(days_between(MAX(GREATEST(
           COALESCE(t.tested_on, CAST('1900-01-01' AS DATE)),
           COALESCE(s.scanned_on, CAST('1900-01-01' AS DATE)),
           COALESCE(o.opened_on, CAST('1900-01-01' AS DATE)))), $as_of), 0) > $silent_days AS silent
FROM fleet_vehicle v
LEFT JOIN (SELECT vin, MAX(CAST(tested_at AS DATE)) AS tested_on FROM battery_test GROUP BY vin) t ON t.vin = v.vin
LEFT JOIN (SELECT vin, MAX(CAST(scanned_at AS DATE)) AS scanned_on FROM code_scan GROUP BY vin) s ON s.vin = v.vin
LEFT JOIN (SELECT vin, MAX(CAST(opened_at AS DATE)) AS opened_on FROM work_order GROUP BY vin) o ON o.vin = v.vin
WHERE v.gone_on IS NULL
GROUP BY v.depot
