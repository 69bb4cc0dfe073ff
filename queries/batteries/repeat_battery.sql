-- One row is a battery replaced again while the one before was under warranty.
-- Reads changes by order. Under warranty is within $warranty_months of the day the battery went in. Two orders of
-- one job are no second battery.
WITH replaced AS (
    SELECT c.vin, c.position, c.first_order_no AS order_no, MIN(c.opened_on) AS replaced_on,
           MAX(w.shop) AS shop, MAX(w.parts_cost) AS parts_cost
    FROM battery_change c
    JOIN work_order w ON w.vin = c.vin AND w.order_no = c.order_no AND w.operation = 'battery replaced'
     AND COALESCE(w.position, c.position) = c.position
    WHERE c.order_no = c.first_order_no
    GROUP BY c.vin, c.position, c.first_order_no
),
paired AS (
    SELECT *, LAG(replaced_on) OVER one_place AS before_on, LAG(order_no) OVER one_place AS before_order_no,
           LAG(shop) OVER one_place AS before_shop
    FROM replaced
    WINDOW one_place AS (PARTITION BY vin, position ORDER BY replaced_on, order_no)
)
SELECT p.vin, v.unit_no, v.depot, v.make, v.model, p.position, p.order_no, p.replaced_on, p.shop, p.parts_cost,
       p.before_order_no, p.before_on, p.before_shop, days_between(p.before_on, p.replaced_on) AS days
FROM paired p
LEFT JOIN fleet_vehicle v ON v.vin = p.vin
WHERE days_between(p.before_on, p.replaced_on) <= $warranty_months * 30.4375
