-- One row is a part replaced while a flood spoke for another cause: a module in a flood of the supply
-- with no battery test, or a battery in a flood of the network.
-- Reads orders, floods up to $flood_evidence_days before, and tests between. The cost is the part's;
-- what followed is the first order after it that dealt with what the flood spoke for.
WITH replaced AS (
    SELECT vin, order_no, operation, MIN(opened_at) AS opened_at,
           MAX(COALESCE(closed_at, opened_at)) AS closed_at,
           MAX(shop) AS shop, MAX(technician) AS technician,
           MAX(module_address) AS module_address, MAX(position) AS position,
           MAX(parts_cost) AS parts_cost, MAX(labour_hours) AS labour_hours
    FROM work_order
    WHERE operation IN ('module replaced', 'battery replaced')
    GROUP BY vin, order_no, operation
),
during AS (
    SELECT r.*, f.session_no, f.started_at, f.cause, f.codes, f.modules, f.supply_voltage_v,
           ROW_NUMBER() OVER (PARTITION BY r.vin, r.order_no, r.operation ORDER BY f.started_at DESC) AS recency
    FROM replaced r
    JOIN code_flood f ON f.vin = r.vin AND f.started_at <= r.closed_at
     AND days_between(CAST(f.started_at AS DATE), CAST(r.opened_at AS DATE)) BETWEEN -1 AND $flood_evidence_days
),
suspect AS (
    SELECT d.*
    FROM during d
    LEFT JOIN battery_test t ON t.vin = d.vin
     AND t.tested_at BETWEEN LEAST(d.started_at, d.opened_at) AND d.closed_at
    WHERE d.recency = 1
      AND ((d.operation = 'module replaced' AND d.cause IN ('supply', 'charging') AND t.vin IS NULL)
           OR (d.operation = 'battery replaced' AND d.cause = 'network'))
),
followed AS (
    SELECT s.vin, s.order_no, s.operation, MIN(w.opened_at) AS put_right_at
    FROM suspect s
    JOIN work_order w ON w.vin = s.vin AND w.opened_at > s.closed_at
     AND ((s.operation = 'module replaced' AND w.operation IN ('battery replaced', 'battery charged'))
          OR (s.operation = 'battery replaced' AND w.cause IN ('module', 'network')))
    GROUP BY s.vin, s.order_no, s.operation
)
SELECT DISTINCT s.vin, v.unit_no, v.depot, v.make, v.model, s.order_no, CAST(s.opened_at AS DATE) AS opened_on,
       s.shop, s.technician,
       CASE WHEN s.operation = 'module replaced' THEN 'module' ELSE 'battery' END AS replaced,
       COALESCE(s.module_address, s.position) AS place,
       s.parts_cost, s.labour_hours, s.cause AS flood_cause, CAST(s.started_at AS DATE) AS flood_on,
       s.codes, s.modules, s.supply_voltage_v,
       CAST(f.put_right_at AS DATE) AS put_right_on
FROM suspect s
LEFT JOIN followed f ON f.vin = s.vin AND f.order_no = s.order_no AND f.operation = s.operation
LEFT JOIN fleet_vehicle v ON v.vin = s.vin
