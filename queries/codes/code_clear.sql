-- One row is an order on which codes were cleared, with the scans before and after the clear on the
-- same visit.
-- Reads orders and scans. When the clear was made is told by the counters: the first further scan
-- whose distance since a clear has gone down, or is next to none, came after it; where counters are not
-- known, the last one.
WITH cleared AS (
    SELECT vin, order_no, MIN(opened_at) AS opened_at,
           MAX(COALESCE(closed_at, opened_at)) AS closed_at,
           MAX(shop) AS shop, MAX(technician) AS technician, MAX(complaint) AS complaint,
           CASE WHEN BOOL_OR(operation = 'protected clear') THEN 'protected' ELSE 'plain' END AS how
    FROM work_order
    WHERE operation IN ('codes cleared', 'protected clear')
    GROUP BY vin, order_no
),
visit AS (
    SELECT c.vin, c.order_no, s.scan_id, s.scanned_at, s.session_no, s.codes, s.km_since_clear,
           ROW_NUMBER() OVER one_visit AS place,
           LAG(s.km_since_clear) OVER one_visit AS km_before,
           COUNT(*) OVER (PARTITION BY c.vin, c.order_no) AS scans
    FROM cleared c
    JOIN scan_session s ON s.vin = c.vin AND s.scanned_at BETWEEN c.opened_at AND c.closed_at
    WINDOW one_visit AS (PARTITION BY c.vin, c.order_no ORDER BY s.scanned_at, s.scan_id)
),
turned AS (
    SELECT vin, order_no, MAX(scans) AS scans,
           MIN(CASE WHEN place > 1
                     AND (km_since_clear < GREATEST(COALESCE(km_before, 0), 2)
                          OR (km_since_clear IS NULL AND place = scans))
                    THEN place END) AS place_after
    FROM visit
    GROUP BY vin, order_no
)
SELECT c.vin, c.order_no, c.opened_at, c.closed_at, c.shop, c.technician, c.complaint, c.how,
       b.scan_id AS before_scan_id, b.scanned_at AS before_at, b.session_no AS before_session_no,
       b.codes AS before_codes,
       a.scan_id AS after_scan_id, a.scanned_at AS after_at, a.codes AS after_codes,
       COALESCE(a.scanned_at - INTERVAL '1 second', c.closed_at) AS cleared_at
FROM cleared c
LEFT JOIN turned t ON t.vin = c.vin AND t.order_no = c.order_no
LEFT JOIN visit a ON a.vin = c.vin AND a.order_no = c.order_no AND a.place = t.place_after
LEFT JOIN visit b ON b.vin = c.vin AND b.order_no = c.order_no
 AND b.place = COALESCE(t.place_after - 1, t.scans)
