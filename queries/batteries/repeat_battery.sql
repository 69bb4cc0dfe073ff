-- One row is a battery replaced again while the one before was under warranty.
-- Reads orders. Under warranty is within $warranty_months of the day the battery went in.
WITH replaced AS (
    SELECT vin, COALESCE(position, 'main') AS position, order_no, CAST(MIN(opened_at) AS DATE) AS replaced_on,
           MAX(shop) AS shop, MAX(parts_cost) AS parts_cost
    FROM work_order
    WHERE operation = 'battery replaced'
    GROUP BY vin, COALESCE(position, 'main'), order_no
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
