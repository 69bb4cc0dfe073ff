-- One row is a place for a 12 V battery in a vehicle, and how it is known.
-- Reads the register, tests and order lines. Every vehicle has a main battery. A further one is known
-- where a test or an order names it ('named'), or where most of the tested vehicles of the model have one ('taken from its model': at
-- least three of them, judgement, no source), for no register names those and many are never tested.
WITH named AS (
    SELECT vin, position FROM battery_test
    UNION
    SELECT vin, position FROM order_line WHERE position IS NOT NULL
),
tested AS (
    SELECT v.make, v.model, COUNT(DISTINCT t.vin) AS vehicles
    FROM fleet_vehicle v JOIN (SELECT DISTINCT vin FROM battery_test) t ON t.vin = v.vin
    WHERE v.model IS NOT NULL
    GROUP BY v.make, v.model
),
usual AS (
    SELECT v.make, v.model, n.position
    FROM named n
    JOIN fleet_vehicle v ON v.vin = n.vin
    JOIN tested m ON m.model = v.model AND m.make IS NOT DISTINCT FROM v.make
    WHERE n.position <> 'main'
    GROUP BY v.make, v.model, n.position, m.vehicles
    HAVING COUNT(DISTINCT n.vin) >= 3 AND COUNT(DISTINCT n.vin) > 0.5 * m.vehicles
)
SELECT vin, position, MIN(place_known_by) AS place_known_by
FROM (
    SELECT vin, 'main' AS position, 'named' AS place_known_by FROM fleet_vehicle
    UNION ALL
    SELECT vin, position, 'named' FROM named
    UNION ALL
    SELECT v.vin, u.position, 'taken from its model'
    FROM fleet_vehicle v
    JOIN usual u ON u.model = v.model AND u.make IS NOT DISTINCT FROM v.make
)
GROUP BY vin, position
