-- One row is a battery put into a vehicle, on the best evidence for the day.
-- Reads work orders, the register and date codes on tested batteries, best evidence first: a work
-- order says the day; the register's own note says the day of one it did not order; a date code
-- says the month it was made; failing these a battery is as old as the vehicle. The moment by which it
-- was in is known where an order was opened and closed at two moments of one day; orders that carry
-- days alone have none.
WITH ordered AS (
    SELECT vin,
           COALESCE(position, 'main') AS position,
           CAST(COALESCE(closed_at, opened_at) AS DATE) AS installed_on,
           MAX(CASE WHEN opened_at < closed_at AND CAST(opened_at AS DATE) = CAST(closed_at AS DATE)
                    THEN closed_at END) AS fitted_at,
           MIN(order_no) AS order_no,
           BOOL_OR(cause = 'supply' AND complaint IS NOT NULL) AS on_complaint,
           MAX(shop) AS shop
    FROM work_order
    WHERE operation = 'battery replaced'
    GROUP BY vin, COALESCE(position, 'main'), CAST(COALESCE(closed_at, opened_at) AS DATE)
),
-- A register date within six weeks of an order is that order's.
registered AS (
    SELECT v.vin, 'main' AS position, v.battery_installed_on AS installed_on
    FROM (SELECT DISTINCT vin, battery_installed_on FROM vehicle WHERE battery_installed_on IS NOT NULL) v
    LEFT JOIN ordered o
      ON o.vin = v.vin AND o.position = 'main'
     AND days_between(o.installed_on, v.battery_installed_on) BETWEEN -45 AND 45
    WHERE o.vin IS NULL
),
placed AS (
    SELECT vin, 'main' AS position FROM fleet_vehicle
    UNION
    SELECT vin, position FROM battery_test
    UNION
    SELECT vin, position FROM ordered
),
-- The earliest battery is known by a date code if one was read before the first replacement.
first_change AS (
    SELECT vin, position, MIN(installed_on) AS installed_on
    FROM (SELECT vin, position, installed_on FROM ordered
          UNION ALL SELECT vin, position, installed_on FROM registered)
    GROUP BY vin, position
),
coded AS (
    SELECT t.vin, t.position, MIN(date_code_month(t.date_code, CAST(t.tested_at AS DATE))) AS made_on
    FROM battery_test t
    LEFT JOIN first_change c ON c.vin = t.vin AND c.position = t.position
    WHERE t.date_code IS NOT NULL
      AND (c.installed_on IS NULL OR CAST(t.tested_at AS DATE) < c.installed_on)
    GROUP BY t.vin, t.position
),
-- A battery made more than half a year after the vehicle's first day is not its first one.
earliest AS (
    SELECT p.vin, p.position,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183
                THEN day_plus(c.made_on, 45) ELSE v.in_service_date END AS installed_on,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183
                THEN 'date code' ELSE 'first day on the road' END AS evidence,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183 THEN 45
                WHEN c.made_on IS NOT NULL THEN 30
                ELSE 180 END AS uncertainty_days
    FROM placed p
    JOIN fleet_vehicle v ON v.vin = p.vin
    LEFT JOIN coded c ON c.vin = p.vin AND c.position = p.position
)
SELECT vin, position, installed_on, 'work order' AS evidence, 1 AS uncertainty_days,
       fitted_at, order_no, on_complaint, 'replacement' AS source
FROM ordered
UNION ALL
SELECT r.vin, r.position, r.installed_on, 'register' AS evidence, 7 AS uncertainty_days,
       CAST(NULL AS TIMESTAMP) AS fitted_at, CAST(NULL AS VARCHAR) AS order_no, FALSE AS on_complaint,
       CASE WHEN days_between(v.in_service_date, r.installed_on) > 30
            THEN 'replacement' ELSE 'factory' END AS source
FROM registered r
JOIN fleet_vehicle v ON v.vin = r.vin
UNION ALL
SELECT e.vin, e.position, e.installed_on, e.evidence, e.uncertainty_days,
       CAST(NULL AS TIMESTAMP) AS fitted_at, CAST(NULL AS VARCHAR) AS order_no, FALSE AS on_complaint,
       CASE WHEN e.evidence = 'date code' THEN 'replacement' ELSE 'factory' END AS source
FROM earliest e
LEFT JOIN first_change c ON c.vin = e.vin AND c.position = e.position
LEFT JOIN (SELECT vin, MIN(installed_on) AS installed_on FROM registered GROUP BY vin) r
  ON r.vin = e.vin AND e.position = 'main'
-- The register's note of the battery the vehicle came with is that battery, not a second one.
WHERE (c.installed_on IS NULL OR e.installed_on < c.installed_on)
  AND (r.installed_on IS NULL OR days_between(e.installed_on, r.installed_on) > 30)
