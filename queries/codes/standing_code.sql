-- One row is a code that a model shows as a rule: in half of its sessions or more, on three vehicles or more.
-- Reads sessions and their codes. What a model always stores says nothing of what went wrong with one of
-- its vehicles, not even at the first scan of it. Half is as a rule; three vehicles are no chance of one
-- (judgement).
WITH sessions AS (
    SELECT s.vin, s.session_no, v.make, v.model
    FROM code_session s
    JOIN fleet_vehicle v ON v.vin = s.vin AND v.make IS NOT NULL AND v.model IS NOT NULL
),
of_model AS (SELECT make, model, COUNT(*) AS sessions FROM sessions GROUP BY make, model),
shown AS (
    SELECT make, model, module_address, code, SUM(sessions) AS shown, COUNT(*) AS vehicles
    FROM (SELECT s.make, s.model, s.vin, c.module_address, c.code, COUNT(*) AS sessions
          FROM session_code c
          JOIN sessions s ON s.vin = c.vin AND s.session_no = c.session_no
          GROUP BY s.make, s.model, s.vin, c.module_address, c.code)
    GROUP BY make, model, module_address, code
)
SELECT s.make, s.model, s.module_address, s.code, s.vehicles, s.shown, m.sessions,
       CAST(s.shown AS DOUBLE) / m.sessions AS share
FROM shown s
JOIN of_model m ON m.make = s.make AND m.model = s.model
WHERE s.vehicles >= 3 AND 2 * s.shown >= m.sessions
