-- One row is a depot with work orders: since when failures there would have been recorded.
-- Reads order lines and the vehicles' stays. The first order decides, but not one that stands alone: where at
-- most two orders, or two in a hundred, are followed by more than a year without any, they are taken for
-- mistyped years (limits: judgement, no source). $observation_start goes before all of it.
WITH by_day AS (
    SELECT s.depot, o.opened_on AS day, COUNT(DISTINCT o.order_no) AS orders
    FROM order_line o
    JOIN depot_stay s ON s.vin = o.vin
     AND (s.from_on IS NULL OR o.opened_on >= s.from_on) AND (s.until_on IS NULL OR o.opened_on < s.until_on)
    GROUP BY s.depot, o.opened_on
),
counted AS (
    SELECT depot, day, orders,
           SUM(orders) OVER (PARTITION BY depot ORDER BY day) AS orders_so_far,
           SUM(orders) OVER (PARTITION BY depot) AS all_orders,
           LEAD(day) OVER (PARTITION BY depot ORDER BY day) AS next_day
    FROM by_day
),
strays AS (
    SELECT depot, MAX(day) AS last_stray_on
    FROM counted
    WHERE days_between(day, next_day) > 365 AND orders_so_far <= GREATEST(2, 0.02 * all_orders)
    GROUP BY depot
)
SELECT c.depot, COALESCE($observation_start, MIN(CASE WHEN c.day > s.last_stray_on OR s.depot IS NULL THEN c.day END)) AS watched_from,
       MIN(c.day) AS first_order_on,
       MAX(s.last_stray_on) AS last_stray_on,
       SUM(CASE WHEN c.day <= s.last_stray_on THEN c.orders ELSE 0 END) AS stray_orders
FROM counted c
LEFT JOIN strays s ON s.depot = c.depot
GROUP BY c.depot
