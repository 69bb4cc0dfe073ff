-- One row is a session with the chance of so many codes where nothing but the usual is wrong.
-- Reads sessions and what is usual: the law of the vehicle's model at the scan's breadth where that
-- rests on $flood_baseline_sessions sessions, else of the breadth, else of the fleet. Adjusted for
-- all sessions of the ISO week (Benjamini and Hochberg, J. Roy. Statist. Soc. B 57:289, 1995).
WITH judged AS (
    SELECT s.*, iso_week(CAST(s.started_at AS DATE)) AS week,
           count_tail(s.codes,
               CASE WHEN m.mean IS NOT NULL THEN m.mean WHEN b.mean IS NOT NULL THEN b.mean ELSE f.mean END,
               CASE WHEN m.mean IS NOT NULL THEN m.size WHEN b.mean IS NOT NULL THEN b.size ELSE f.size END
           ) AS p_value,
           CASE WHEN m.mean IS NOT NULL THEN m.mean WHEN b.mean IS NOT NULL THEN b.mean ELSE f.mean END AS usual_codes
    FROM code_session s
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
    LEFT JOIN code_baseline m
      ON m.level = 'model and breadth' AND m.make = v.make AND m.model = v.model AND m.breadth = s.breadth
     AND m.sessions >= $flood_baseline_sessions
    LEFT JOIN code_baseline b
      ON b.level = 'breadth' AND b.breadth = s.breadth AND b.sessions >= $flood_baseline_sessions
    LEFT JOIN code_baseline f ON f.level = 'fleet'
)
SELECT *, adjusted_p(p_value) OVER (PARTITION BY week) AS adjusted
FROM judged
