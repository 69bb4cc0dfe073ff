-- One row is a session, with how many of its codes, of how many modules, are new: not there at the
-- vehicle's session before and not standing in its model.
-- Reads sessions, their codes and clears. A code that was there before and was cleared in between has come
-- back and is new again: between two sessions codes were cleared where an order says so or where the
-- distance counted since a clear went down. At a vehicle's first session nobody knows what is old, so
-- nothing is; it is held against other first sessions.
WITH ordered_clear AS (
    SELECT DISTINCT s.vin, s.session_no
    FROM code_session s
    JOIN code_session b ON b.vin = s.vin AND b.session_no = s.session_no - 1
    JOIN code_clear k ON k.vin = s.vin AND k.cleared_at > b.ended_at AND k.cleared_at <= s.started_at
),
follows AS (
    SELECT s.vin, s.session_no, v.make, v.model, s.session_no = 1 AS first_session,
           COALESCE(s.first_km_since_clear < b.last_km_since_clear, FALSE) OR k.vin IS NOT NULL AS cleared_between
    FROM code_session s
    LEFT JOIN code_session b ON b.vin = s.vin AND b.session_no = s.session_no - 1
    LEFT JOIN ordered_clear k ON k.vin = s.vin AND k.session_no = s.session_no
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
),
by_module AS (
    SELECT c.vin, c.session_no, c.module_address, COUNT(*) AS codes
    FROM session_code c
    JOIN follows f ON f.vin = c.vin AND f.session_no = c.session_no
    LEFT JOIN session_code b ON b.vin = c.vin AND b.session_no = c.session_no - 1
     AND b.module_address = c.module_address AND b.code = c.code AND NOT f.cleared_between
    LEFT JOIN standing_code k ON k.make = f.make AND k.model = f.model
     AND k.module_address = c.module_address AND k.code = c.code
    WHERE b.vin IS NULL AND k.model IS NULL
    GROUP BY c.vin, c.session_no, c.module_address
),
counted AS (
    SELECT vin, session_no, SUM(codes) AS new_codes, COUNT(*) AS new_modules
    FROM by_module
    GROUP BY vin, session_no
)
SELECT f.vin, f.session_no, f.first_session, f.cleared_between,
       COALESCE(c.new_codes, 0) AS new_codes, COALESCE(c.new_modules, 0) AS new_modules
FROM follows f
LEFT JOIN counted c ON c.vin = f.vin AND c.session_no = f.session_no
