-- One row is a vehicle, as the register last showed it, and whether it is still there.
-- Reads the register's snapshots and what else was heard of vehicles. A later snapshot says where the
-- vehicle is now; the first one says since when it is known at all. gone_on is the day it left the fleet; or the last
-- day anything was heard of it, where two or more later exports of its depot's register lack it: one
-- missed export is dirt. A depot that is exported no more takes no vehicle with it, and a day with less than
-- half of what its exports before showed is no export of it, but a mistyped day.
WITH last_heard AS (SELECT vin, MAX(day) AS last_heard_on FROM vehicle_event GROUP BY vin),
exported AS (
    SELECT depot, seen_on
    FROM (
        SELECT depot, seen_on, vehicles,
               MAX(vehicles) OVER (PARTITION BY depot ORDER BY seen_on ROWS BETWEEN 4 PRECEDING AND CURRENT ROW) AS most
        FROM (SELECT depot, seen_on, COUNT(DISTINCT vin) AS vehicles FROM vehicle GROUP BY depot, seen_on)
    )
    WHERE 2 * vehicles >= most
),
last_shown AS (
    SELECT *
    FROM (
        SELECT *,
               MIN(seen_on) OVER (PARTITION BY vin) AS first_seen_on,
               ROW_NUMBER() OVER (
                   PARTITION BY vin
                   ORDER BY seen_on DESC, odometer_km DESC NULLS LAST, load_id DESC
               ) AS recency
        FROM vehicle
    )
    WHERE recency = 1
),
missed AS (
    SELECT v.vin, COUNT(*) AS exports_missed
    FROM last_shown v
    JOIN last_heard h ON h.vin = v.vin
    JOIN exported e ON e.depot = v.depot AND e.seen_on > h.last_heard_on
    GROUP BY v.vin
)
SELECT v.vin, v.unit_no, v.depot, v.make, v.model, v.model_year, v.powertrain, v.in_service_date, v.joined_fleet_date,
       v.odometer_km, v.battery_group, v.chemistry, v.rating_value, v.rating_standard, v.battery_installed_on,
       v.left_fleet_date, v.seen_on AS last_seen_on, v.first_seen_on, h.last_heard_on,
       COALESCE(m.exports_missed, 0) AS exports_missed,
       v.left_fleet_date IS NULL AND COALESCE(m.exports_missed, 0) >= 2 AS not_heard_of,
       CASE WHEN v.left_fleet_date IS NOT NULL THEN v.left_fleet_date
            WHEN m.exports_missed >= 2 THEN h.last_heard_on END AS gone_on
FROM last_shown v
JOIN last_heard h ON h.vin = v.vin
LEFT JOIN missed m ON m.vin = v.vin
