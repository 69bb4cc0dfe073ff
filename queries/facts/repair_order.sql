-- One row is a work order as a whole: what was complained of, what was done, what it cost.
-- Reads order lines, each counted once. The operation named is the weightiest of the order's. An order
-- is about trouble where at least a tenth of the orders with its complaint were put down to a cause:
-- so services and campaigns, which never are, drop out in any shop's wording.
WITH line AS (
    SELECT DISTINCT order_no, vin, opened_at, closed_at, odometer_km, shop, technician, complaint, cause,
           operation, position, module_address, parts_cost, labour_hours
    FROM work_order
),
ordered AS (
    SELECT vin, order_no, MIN(opened_at) AS opened_at,
           MAX(COALESCE(closed_at, opened_at)) AS closed_at,
           MAX(odometer_km) AS odometer_km, MAX(shop) AS shop, MAX(technician) AS technician,
           MIN(NULLIF(LOWER(TRIM(complaint)), '')) AS complaint, MIN(cause) AS cause,
           SUM(parts_cost) AS parts_cost, SUM(labour_hours) AS labour_hours,
           MIN(CASE operation
               WHEN 'battery replaced' THEN 1 WHEN 'module replaced' THEN 2 WHEN 'module reprogrammed' THEN 3
               WHEN 'protected clear' THEN 4 WHEN 'battery charged' THEN 5 WHEN 'codes cleared' THEN 6
               WHEN 'other' THEN 7 WHEN 'battery tested' THEN 8 ELSE 9 END) AS weightiest
    FROM line
    GROUP BY vin, order_no
),
complained AS (
    SELECT complaint, AVG(CASE WHEN cause IS NOT NULL THEN 1.0 ELSE 0.0 END) AS share_with_cause
    FROM ordered WHERE complaint IS NOT NULL GROUP BY complaint
)
SELECT o.vin, o.order_no, o.opened_at, o.closed_at, o.odometer_km,
       COALESCE(o.shop, 'not known') AS shop, o.technician, v.make, v.model, v.depot, v.unit_no,
       o.complaint, o.cause, o.parts_cost, o.labour_hours,
       CASE o.weightiest
           WHEN 1 THEN 'battery replaced' WHEN 2 THEN 'module replaced' WHEN 3 THEN 'module reprogrammed'
           WHEN 4 THEN 'protected clear' WHEN 5 THEN 'battery charged' WHEN 6 THEN 'codes cleared'
           WHEN 7 THEN 'other' WHEN 8 THEN 'battery tested' ELSE 'roadside help' END AS operation,
       o.cause IS NOT NULL OR COALESCE(c.share_with_cause, 0) >= 0.1 AS about_trouble,
       o.weightiest <= 7 AS put_right
FROM ordered o
LEFT JOIN complained c ON c.complaint = o.complaint
LEFT JOIN fleet_vehicle v ON v.vin = o.vin
