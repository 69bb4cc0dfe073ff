-- One row is a code of a module that came new at least five times: how often with new codes in other
-- modules, and in what share of the sessions that brought those.
-- Reads sessions without a low-voltage code whose scans asked more than a few modules, by model. A
-- companion code says only that another module holds a fault: it comes in a good part of the sessions
-- that bring codes elsewhere, whatever those are, and next to never alone.
WITH session AS (
    SELECT s.vin, s.session_no, v.make, v.model
    FROM code_session s
    JOIN fleet_vehicle v ON v.vin = s.vin AND v.model IS NOT NULL
    WHERE s.codes > 0 AND s.supply_codes = 0 AND s.breadth <> 'up to 6 modules'
),
-- New: the vehicle's session before did not show it.
code AS (
    SELECT s.make, s.model, c.vin, c.session_no, c.module_address, c.code
    FROM session_code c
    JOIN session s ON s.vin = c.vin AND s.session_no = c.session_no
    LEFT ANTI JOIN session_code b
      ON b.vin = c.vin AND b.session_no = c.session_no - 1
     AND b.module_address = c.module_address AND b.code = c.code
),
of_session AS (
    SELECT make, model, vin, session_no, COUNT(*) AS modules, MIN(module_address) AS first_module
    FROM (SELECT DISTINCT make, model, vin, session_no, module_address FROM code)
    GROUP BY make, model, vin, session_no
),
held AS (
    SELECT c.make, c.model, c.module_address, c.code, COUNT(*) AS times,
           SUM(CASE WHEN o.modules > 1 THEN 1 ELSE 0 END) AS times_with_others
    FROM code c
    JOIN of_session o ON o.vin = c.vin AND o.session_no = c.session_no
    GROUP BY c.make, c.model, c.module_address, c.code
    HAVING COUNT(*) >= 5
),
of_model AS (
    SELECT make, model, COUNT(*) AS sessions FROM of_session GROUP BY make, model
),
alone AS (
    SELECT make, model, first_module AS module_address, COUNT(*) AS sessions
    FROM of_session WHERE modules = 1 GROUP BY make, model, first_module
),
-- All sessions of the model that brought codes, but for those that brought them in this module alone.
elsewhere AS (
    SELECT a.make, a.model, a.module_address, m.sessions - COALESCE(l.sessions, 0) AS sessions
    FROM (SELECT DISTINCT make, model, module_address FROM held) a
    JOIN of_model m ON m.make = a.make AND m.model = a.model
    LEFT JOIN alone l ON l.make = a.make AND l.model = a.model AND l.module_address = a.module_address
    WHERE m.sessions > COALESCE(l.sessions, 0)
),
shared AS (
    SELECT h.make, h.model, h.module_address, h.code, h.times, h.times_with_others,
           e.sessions AS sessions_elsewhere,
           share_limits(h.times_with_others, h.times) AS company,
           share_limits(h.times_with_others, e.sessions) AS seen
    FROM held h
    JOIN elsewhere e ON e.make = h.make AND e.model = h.model AND e.module_address = h.module_address
)
SELECT make, model, module_address, code, times, times_with_others, sessions_elsewhere,
       company['share'] AS share_with_others, company['lower'] AS share_with_others_lower,
       seen['share'] AS share_of_sessions, seen['lower'] AS share_of_sessions_lower,
       company['lower'] > 0.5 AND seen['lower'] > 0.2 AS companion
FROM shared
