-- One row is a battery put into a vehicle, on the best evidence for the day.
-- Reads places, changes by order, the register's days and date codes on tested batteries, best evidence first:
-- a work order says the day; the register's own note says the day of one it did not order; a date code
-- says the month it was made; failing these a battery is as old as the vehicle. Evidence of two
-- kinds for one replacement is one battery.
WITH ordered AS (
    SELECT vin, position, changed_on AS installed_on, MAX(fitted_at) AS fitted_at, MIN(first_order_no) AS order_no,
           1 + MAX(doubt_days) AS uncertainty_days
    FROM battery_change
    GROUP BY vin, position, changed_on
),
-- The earliest battery is known by a date code if one was read before the first replacement. A code read in
-- the last days before it, made in the year before it, may be the new battery's.
first_change AS (
    SELECT vin, position, MIN(installed_on) AS installed_on
    FROM (SELECT vin, position, installed_on FROM ordered
          UNION ALL SELECT vin, 'main', installed_on FROM battery_register_day)
    GROUP BY vin, position
),
code_read AS (
    SELECT t.vin, t.position, t.made_on, COUNT(*) AS times, MIN(t.tested_on) AS read_on
    FROM (
        SELECT vin, position, tested_on, date_code_month(date_code, tested_on) AS made_on
        FROM dated_test WHERE date_code IS NOT NULL
    ) t
    LEFT JOIN first_change c ON c.vin = t.vin AND c.position = t.position
    WHERE t.made_on IS NOT NULL
      AND (c.installed_on IS NULL OR t.tested_on < c.installed_on)
      AND NOT COALESCE(days_between(t.tested_on, c.installed_on) <= $same_trouble_days
                       AND days_between(t.made_on, c.installed_on) < 366, FALSE)
    GROUP BY t.vin, t.position, t.made_on
),
-- The month read most often; of several as often read, the earliest.
coded AS (
    SELECT vin, position, FIRST_VALUE(made_on ORDER BY times DESC, made_on) AS made_on,
           FIRST_VALUE(read_on ORDER BY times DESC, made_on) AS read_on
    FROM code_read
    GROUP BY vin, position
),
-- A battery made more than half a year after the vehicle's first day is not its first one.
earliest AS (
    SELECT p.vin, p.position,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183
                THEN LEAST(day_plus(c.made_on, 45), c.read_on) ELSE v.in_service_date END AS installed_on,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183
                THEN 'date code' ELSE 'first day on the road' END AS evidence,
           CASE WHEN days_between(v.in_service_date, c.made_on) > 183 THEN 45
                WHEN c.made_on IS NOT NULL THEN 30
                ELSE 180 END AS uncertainty_days
    FROM battery_place p
    JOIN fleet_vehicle v ON v.vin = p.vin
    LEFT JOIN coded c ON c.vin = p.vin AND c.position = p.position
)
SELECT vin, position, installed_on, 'work order' AS evidence, uncertainty_days,
       fitted_at, order_no, 'replacement' AS source
FROM ordered
UNION ALL
SELECT r.vin, 'main' AS position, r.installed_on, 'register' AS evidence, 7 AS uncertainty_days,
       CAST(NULL AS TIMESTAMP) AS fitted_at, CAST(NULL AS VARCHAR) AS order_no,
       CASE WHEN days_between(v.in_service_date, r.installed_on) > 92
            THEN 'replacement' ELSE 'factory' END AS source
FROM battery_register_day r
JOIN fleet_vehicle v ON v.vin = r.vin
UNION ALL
SELECT e.vin, e.position, e.installed_on, e.evidence, e.uncertainty_days,
       CAST(NULL AS TIMESTAMP) AS fitted_at, CAST(NULL AS VARCHAR) AS order_no,
       CASE WHEN e.evidence = 'date code' THEN 'replacement' ELSE 'factory' END AS source
FROM earliest e
LEFT JOIN first_change c ON c.vin = e.vin AND c.position = e.position
LEFT JOIN (SELECT vin, MIN(installed_on) AS installed_on FROM battery_register_day GROUP BY vin) r
  ON r.vin = e.vin AND e.position = 'main'
-- The register's note of the battery the vehicle came with is that battery, not a second one.
WHERE (c.installed_on IS NULL OR e.installed_on < c.installed_on)
  AND (r.installed_on IS NULL OR days_between(e.installed_on, r.installed_on) > 92)
