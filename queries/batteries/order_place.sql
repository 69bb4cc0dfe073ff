-- One row is an order that changed a battery without saying which, and that the register tells was not the main one.
-- Reads order lines, places and the register. Such an order is of the main battery, unless the vehicle has one further
-- place and the register, in the half year after, still names a day of the main battery a quarter or more
-- before the order. That is evidence only where the depot's register is kept: where it follows a fifth or
-- more of the orders that name the main battery or none (judgement, no source), for one that nobody keeps follows none.
WITH changed AS (
    SELECT l.vin, l.order_no, MAX(COALESCE(l.closed_on, l.opened_on)) AS done_on,
           BOOL_AND(l.position IS NULL) AS names_none
    FROM order_line l
    WHERE l.operation = 'battery replaced' AND COALESCE(l.position, 'main') = 'main'
    GROUP BY l.vin, l.order_no
),
further AS (
    SELECT vin, MIN(position) AS position, COUNT(*) AS places
    FROM battery_place WHERE position <> 'main'
    GROUP BY vin
),
shown_after AS (
    SELECT u.vin, u.order_no, MAX(v.battery_installed_on) AS main_since, MAX(v.depot) AS depot
    FROM changed u
    JOIN vehicle v ON v.vin = u.vin AND v.battery_installed_on IS NOT NULL
     AND v.seen_on > u.done_on AND days_between(u.done_on, v.seen_on) <= 200
    GROUP BY u.vin, u.order_no
    HAVING days_between(MAX(u.done_on), MAX(v.seen_on)) >= 30
),
told AS (
    SELECT s.vin, s.order_no, s.depot, u.names_none, f.position, f.places,
           days_between(u.done_on, s.main_since) >= -92 AS follows
    FROM shown_after s
    JOIN changed u ON u.vin = s.vin AND u.order_no = s.order_no
    LEFT JOIN further f ON f.vin = s.vin
),
following AS (
    SELECT depot FROM told
    GROUP BY depot
    HAVING AVG(CASE WHEN follows THEN 1.0 ELSE 0.0 END) >= 0.2
)
SELECT t.vin, t.order_no, t.position
FROM told t
JOIN following d ON d.depot = t.depot
WHERE t.names_none AND t.places = 1 AND NOT t.follows
