-- One row is a vehicle, as the register last showed it.
-- Reads the register's snapshots. A later snapshot says where the vehicle is now; the first one says
-- since when it is known at all.
SELECT vin, unit_no, depot, make, model, model_year, powertrain, in_service_date, joined_fleet_date,
       odometer_km, battery_group, chemistry, rating_value, rating_standard, battery_installed_on,
       left_fleet_date, seen_on AS last_seen_on, first_seen_on
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
