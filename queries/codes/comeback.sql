-- One row is an order that was to put trouble right, with the order on which the trouble came back, if
-- it did.
-- Reads orders and the codes shown on their visits. It came back when a later order about trouble has
-- the same complaint, or its scans show the same code, or codes of the same group (supply voltage,
-- lost communication, implausible signal), within $comeback_late_days or $comeback_km of the hand-over. Roadside help
-- alone puts nothing right and cannot come back.
WITH fixed AS (
    SELECT * FROM repair_order WHERE about_trouble AND put_right
),
visit_code AS (
    SELECT DISTINCT o.vin, o.order_no, c.module_address || ' ' || c.code AS code,
           CASE WHEN c.code_group <> 'other' THEN c.code_group END AS code_group
    FROM repair_order o
    JOIN scan_session n ON n.vin = o.vin AND n.scanned_at BETWEEN o.opened_at AND o.closed_at AND n.codes > 0
    JOIN session_code c ON c.vin = n.vin AND c.session_no = n.session_no
    LEFT JOIN companion_code p ON p.make = o.make AND p.model = o.model
     AND p.module_address = c.module_address AND p.code = c.code AND p.companion
    WHERE o.about_trouble AND p.make IS NULL
),
later AS (
    SELECT f.vin, f.order_no, r.order_no AS return_order_no, r.opened_at AS returned_at,
           COALESCE(f.complaint = r.complaint, FALSE) AS by_complaint
    FROM fixed f
    JOIN repair_order r ON r.vin = f.vin AND r.about_trouble AND r.opened_at > f.closed_at
     AND (days_between(CAST(f.closed_at AS DATE), CAST(r.opened_at AS DATE)) <= $comeback_late_days
          OR r.odometer_km - f.odometer_km BETWEEN 0 AND $comeback_km)
),
alike AS (
    SELECT l.vin, l.order_no, l.return_order_no,
           MIN(CASE WHEN a.code = b.code THEN a.code END) AS same_code,
           MIN(CASE WHEN a.code_group = b.code_group THEN a.code_group END) AS same_group
    FROM later l
    JOIN visit_code a ON a.vin = l.vin AND a.order_no = l.order_no
    JOIN visit_code b ON b.vin = l.vin AND b.order_no = l.return_order_no
     AND (b.code = a.code OR b.code_group = a.code_group)
    GROUP BY l.vin, l.order_no, l.return_order_no
),
returned AS (
    SELECT l.vin, l.order_no, l.return_order_no, l.returned_at,
           CASE WHEN l.by_complaint THEN 'same complaint' WHEN a.same_code IS NOT NULL THEN 'same code'
                ELSE 'same code group' END AS alike,
           a.same_code, a.same_group,
           ROW_NUMBER() OVER (PARTITION BY l.vin, l.order_no ORDER BY l.returned_at, l.return_order_no) AS place
    FROM later l
    LEFT JOIN alike a ON a.vin = l.vin AND a.order_no = l.order_no AND a.return_order_no = l.return_order_no
    WHERE l.by_complaint OR a.same_code IS NOT NULL OR a.same_group IS NOT NULL
)
SELECT f.vin, f.unit_no, f.depot, f.make, f.model, f.order_no, f.shop, f.technician, f.operation, f.complaint,
       CAST(f.opened_at AS DATE) AS opened_on, CAST(f.closed_at AS DATE) AS closed_on,
       f.parts_cost, f.labour_hours,
       r.return_order_no, CAST(r.returned_at AS DATE) AS returned_on, r.alike, r.same_code, r.same_group,
       days_between(CAST(f.closed_at AS DATE), CAST(r.returned_at AS DATE)) AS days,
       o.odometer_km - f.odometer_km AS km,
       o.parts_cost AS return_parts_cost, o.labour_hours AS return_labour_hours,
       CASE WHEN o.parts_cost IS NOT NULL OR o.labour_hours IS NOT NULL
            THEN COALESCE(o.parts_cost, 0) + COALESCE(o.labour_hours, 0) * $labour_per_hour END AS return_cost,
       r.return_order_no IS NOT NULL AS came_back,
       COALESCE(days_between(CAST(f.closed_at AS DATE), CAST(r.returned_at AS DATE)) <= $comeback_days, false) AS came_back_soon,
       -- Only an order old enough to have come back can be counted as one that did not.
       days_between(CAST(f.closed_at AS DATE), $as_of) >= $comeback_late_days AS followed
FROM fixed f
LEFT JOIN returned r ON r.vin = f.vin AND r.order_no = f.order_no AND r.place = 1
LEFT JOIN repair_order o ON o.vin = f.vin AND o.order_no = r.return_order_no
