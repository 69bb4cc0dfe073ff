-- One row is an order that cleared codes and handed the vehicle over without a scan after it.
-- Reads clears. The minutes are from the last scan to the hand-over, so at most the time in which the
-- clear was made.
SELECT k.vin, v.unit_no, v.depot, v.make, v.model, k.order_no, CAST(k.opened_at AS DATE) AS opened_on,
       k.shop, k.technician, k.complaint, k.before_codes AS codes,
       CAST(ROUND((EXTRACT(EPOCH FROM k.closed_at) - EXTRACT(EPOCH FROM k.before_at)) / 60) AS BIGINT) AS minutes,
       COALESCE(c.came_back, false) AS came_back
FROM code_clear k
LEFT JOIN fleet_vehicle v ON v.vin = k.vin
LEFT JOIN comeback c ON c.vin = k.vin AND c.order_no = k.order_no
WHERE k.after_scan_id IS NULL AND k.before_codes > 0
