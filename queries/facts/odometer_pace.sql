-- One row is a day on which a register told a vehicle's odometer: the kilometres a day since the one before, unknown
-- where the odometer went back, and the next such day, until which it is the newest.
-- Reads the register as seen day by day.
SELECT vin, seen_on, next_seen_on,
       CASE WHEN seen_on > before_on AND odometer_km >= before_km
            THEN (odometer_km - before_km) / days_between(before_on, seen_on) END AS km_per_day
FROM (
    SELECT vin, seen_on, odometer_km,
           LAG(seen_on) OVER by_day AS before_on, LAG(odometer_km) OVER by_day AS before_km,
           LEAD(seen_on) OVER by_day AS next_seen_on
    FROM (SELECT vin, seen_on, MAX(odometer_km) AS odometer_km FROM vehicle
          WHERE odometer_km IS NOT NULL GROUP BY vin, seen_on)
    WINDOW by_day AS (PARTITION BY vin ORDER BY seen_on)
)
