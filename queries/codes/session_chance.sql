-- One row is a session with the chance of so many new codes where nothing but the usual is wrong.
-- Reads sessions, their new codes and what is usual: the law of the vehicle's model at the scan's breadth
-- where that rests on $flood_baseline_sessions sessions, else of the breadth, else of the fleet. Adjusted
-- for all sessions of the ISO week (Benjamini and Hochberg, J. Roy. Statist. Soc. B 57:289, 1995).
WITH counted AS (
    SELECT s.*, n.first_session, n.new_codes, n.new_modules, v.make, v.model
    FROM code_session s
    JOIN new_code n ON n.vin = s.vin AND n.session_no = s.session_no
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
),
held AS (
    SELECT c.*,
           CASE WHEN m.mean IS NOT NULL THEN m.mean WHEN b.mean IS NOT NULL THEN b.mean ELSE f.mean END AS mean,
           CASE WHEN m.mean IS NOT NULL THEN m.size WHEN b.mean IS NOT NULL THEN b.size ELSE f.size END AS size,
           CASE WHEN m.mean IS NOT NULL THEN m.zero_share WHEN b.mean IS NOT NULL THEN b.zero_share ELSE f.zero_share END AS zero_share
    FROM counted c
    LEFT JOIN code_baseline m
      ON m.level = 'model and breadth' AND m.make = c.make AND m.model = c.model AND m.breadth = c.breadth
     AND m.first_session = c.first_session AND m.sessions >= $flood_baseline_sessions
    LEFT JOIN code_baseline b
      ON b.level = 'breadth' AND b.breadth = c.breadth AND b.first_session = c.first_session
     AND b.sessions >= $flood_baseline_sessions
    LEFT JOIN code_baseline f ON f.level = 'fleet' AND f.first_session = c.first_session
),
judged AS (
    SELECT * EXCEPT (make, model, mean, size, zero_share), iso_week(CAST(started_at AS DATE)) AS week,
           CASE WHEN new_codes = 0 THEN 1.0
                ELSE (1.0 - zero_share) * count_tail(new_codes, mean, size) END AS p_value,
           (1.0 - zero_share) * mean AS usual_codes
    FROM held
),
-- A week's window holds all rows of the fleet at once, so it is of few columns.
adjusted AS (
    SELECT vin, session_no, adjusted_p(p_value) OVER (PARTITION BY week) AS adjusted FROM judged
)
SELECT j.*, a.adjusted
FROM judged j
JOIN adjusted a ON a.vin = j.vin AND a.session_no = j.session_no
