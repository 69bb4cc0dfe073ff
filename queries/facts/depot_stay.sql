-- One row is a vehicle's stay at a depot: from the day the register first showed it there up to, and
-- without, the day it showed it elsewhere.
-- Reads the register. The first stay began at a day nobody knows, the last has no end: both are null.
WITH seen AS (
    SELECT vin, seen_on, MAX(depot) AS depot FROM vehicle GROUP BY vin, seen_on
),
moved AS (
    SELECT vin, seen_on, depot, LAG(depot) OVER (PARTITION BY vin ORDER BY seen_on) AS depot_before FROM seen
)
SELECT vin, depot,
       CASE WHEN depot_before IS NOT NULL THEN seen_on END AS from_on,
       LEAD(seen_on) OVER (PARTITION BY vin ORDER BY seen_on) AS until_on
FROM moved
WHERE depot_before IS NULL OR depot_before <> depot
