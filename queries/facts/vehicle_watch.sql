-- One row is a vehicle: from which day a failure of its battery would have been recorded.
-- Reads the depots' watch and the vehicle's stays. What a depot recorded of it stays known when it moves to
-- another. A depot without orders of its own is watched since the first one that has some.
WITH fleet AS (SELECT MIN(watched_from) AS watched_from FROM depot_watch)
SELECT s.vin, MIN(GREATEST(COALESCE(s.from_on, d.watched_from, f.watched_from), COALESCE(d.watched_from, f.watched_from))) AS watched_from
FROM depot_stay s
CROSS JOIN fleet f
LEFT JOIN depot_watch d ON d.depot = s.depot
WHERE s.until_on IS NULL OR COALESCE(d.watched_from, f.watched_from) IS NULL OR COALESCE(d.watched_from, f.watched_from) < s.until_on
GROUP BY s.vin
