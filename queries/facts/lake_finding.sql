-- One row is something to look at in the lake: what, in which table, how often, with one example.
-- Reads the raw tables whole, without corrected rows where two facts are held against each other, and what
-- is made of them for the day looked back from. Quarantined rows that were not mended since count by the class
-- of their reason; the others are facts that are each well formed but do not fit together.
WITH findings AS (
    SELECT 'the same fact twice' AS finding, 'battery_test' AS table_name, vin AS example
    FROM lake.battery_test GROUP BY vin, row_hash HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'the same fact twice', 'code_scan', vin FROM lake.code_scan GROUP BY vin, row_hash HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'the same fact twice', 'trouble_code', vin FROM lake.trouble_code GROUP BY vin, row_hash HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'the same fact twice', 'work_order', vin FROM lake.work_order GROUP BY vin, row_hash HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'the same fact twice', 'vehicle', vin FROM lake.vehicle GROUP BY vin, row_hash HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'a vehicle the register does not know', 'battery_test', t.vin
    FROM lake.battery_test t LEFT ANTI JOIN lake.vehicle v ON v.vin = t.vin
    UNION ALL
    SELECT 'a vehicle the register does not know', 'code_scan', t.vin
    FROM lake.code_scan t LEFT ANTI JOIN lake.vehicle v ON v.vin = t.vin
    UNION ALL
    SELECT 'a vehicle the register does not know', 'work_order', t.vin
    FROM lake.work_order t LEFT ANTI JOIN lake.vehicle v ON v.vin = t.vin
    UNION ALL
    SELECT 'a code without its scan', 'trouble_code', c.vin
    FROM lake.trouble_code c LEFT ANTI JOIN lake.code_scan s ON s.scan_id = c.scan_id AND s.vin = c.vin
    UNION ALL
    SELECT 'two register rows of one day', 'vehicle', vin
    FROM vehicle GROUP BY vin, seen_on HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'two tests of one battery at one instant', 'battery_test', vin
    FROM battery_test GROUP BY vin, position, tested_at HAVING COUNT(*) > 1
    UNION ALL
    SELECT 'the odometer runs backwards', 'vehicle', vin
    FROM (SELECT vin, odometer_km, LAG(odometer_km) OVER (PARTITION BY vin ORDER BY seen_on) AS before_km FROM vehicle)
    WHERE odometer_km < before_km - 1
    UNION ALL
    SELECT 'an order closed before it was opened', 'work_order', vin
    FROM work_order WHERE closed_at < opened_at
    UNION ALL
    SELECT 'a depot without weather', 'vehicle', v.depot
    FROM (SELECT DISTINCT depot FROM lake.vehicle) v
    LEFT ANTI JOIN lake.depot_weather w ON w.depot = v.depot
    UNION ALL
    SELECT 'a vehicle that left without a word', 'vehicle', vin FROM vehicle_not_heard_of
    UNION ALL
    SELECT 'an order years before all others of its depot', 'work_order', o.vin
    FROM (SELECT DISTINCT vin, order_no, opened_on FROM order_line) o
    JOIN depot_stay s ON s.vin = o.vin
     AND (s.from_on IS NULL OR o.opened_on >= s.from_on) AND (s.until_on IS NULL OR o.opened_on < s.until_on)
    JOIN depot_watch d ON d.depot = s.depot AND o.opened_on <= d.last_stray_on
    UNION ALL
    SELECT 'from before the day the vehicle was first on the road', e.heard_in, e.vin
    FROM vehicle_event e
    JOIN fleet_vehicle v ON v.vin = e.vin AND days_between(v.in_service_date, e.day) < -30
    UNION ALL
    SELECT 'one battery change on two orders', 'work_order', vin
    FROM battery_change WHERE order_no <> first_order_no
    UNION ALL
    SELECT 'one order under two numbers', 'work_order', vin
    FROM (SELECT DISTINCT vin, order_no FROM work_order) w
    LEFT ANTI JOIN order_line o ON o.vin = w.vin AND o.order_no = w.order_no
    UNION ALL
    SELECT 'more than 1.4 times its rated cranking ability',
           'battery_test', vin
    FROM battery_condition WHERE health > 1.4
    UNION ALL
    SELECT CASE WHEN row_loaded THEN 'left out of its row: ' ELSE '' END || split_part(reason, ':', 1), 'quarantine', file || ':' || CAST(line AS VARCHAR) FROM quarantine
)
SELECT finding, table_name, COUNT(*) AS times, MIN(example) AS example
FROM findings
GROUP BY finding, table_name
