-- One row is a vehicle whose last scan has codes: how many are latched, how many only pending, and how many are left
-- to trace.
-- Reads the last scan's codes, latched codes, the last flood and recovery. Codes to trace are those that nothing else
-- here explains: not latched, not of a flood that stands, not pending alone; a permanent one always is.
WITH last_flood AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY started_at DESC) AS recency FROM code_flood
),
last_recovery AS (
    SELECT vin, proven_on, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY opened_on DESC) AS recency FROM recovery_case
),
stored AS (
    SELECT s.vin, c.module_address, c.code,
           BOOL_OR(l.code IS NOT NULL) AS latched,
           BOOL_OR(COALESCE(c.permanent, FALSE)) AS permanent,
           BOOL_AND(COALESCE(c.pending, FALSE) AND NOT COALESCE(c.confirmed, FALSE)) AS only_pending,
           -- The last flood, where this scan shows it and nothing proves it over.
           BOOL_OR(f.session_no = n.session_no AND r.proven_on IS NULL
                   AND days_between(CAST(f.started_at AS DATE), $as_of) <= $lookback_days) AS of_flood
    FROM last_scan s
    JOIN trouble_code c ON c.vin = s.vin AND c.scan_id = s.scan_id AND c.scanned_at = s.scanned_at
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
    LEFT JOIN latched_code l ON l.make = v.make AND l.model = v.model
     AND l.module_address = c.module_address AND l.code = c.code AND l.latched
    LEFT JOIN scan_session n ON n.vin = s.vin AND n.scan_id = s.scan_id AND n.scanned_at = s.scanned_at
    LEFT JOIN last_flood f ON f.vin = s.vin AND f.recency = 1
    LEFT JOIN last_recovery r ON r.vin = s.vin AND r.recency = 1
    GROUP BY s.vin, c.module_address, c.code
)
SELECT vin,
       SUM(CASE WHEN latched THEN 1 ELSE 0 END) AS latched_codes,
       MIN(CASE WHEN latched THEN code END) AS latched_example,
       SUM(CASE WHEN permanent OR NOT (latched OR only_pending OR COALESCE(of_flood, FALSE)) THEN 1 ELSE 0 END) AS codes_to_trace,
       SUM(CASE WHEN only_pending AND NOT (permanent OR latched OR COALESCE(of_flood, FALSE)) THEN 1 ELSE 0 END) AS pending_codes
FROM stored
GROUP BY vin
