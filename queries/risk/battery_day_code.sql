-- One row is a battery on a day with code sessions in the 52 weeks before it, not counting those of the battery
-- before: how many there were, showed supply voltage or lost communication, or flooded for the supply as was
-- known then, by how long ago.
-- Reads battery_day, sessions and floods.
WITH sessions AS (
    SELECT s.vin, CAST(s.ended_at AS DATE) AS seen_on, s.supply_voltage_v,
           s.supply_codes > 0 AS shows_supply, s.lost_codes > 0 AS shows_lost,
           COALESCE(f.cause_then = 'supply', FALSE) AS floods
    FROM code_session s
    LEFT JOIN code_flood f ON f.vin = s.vin AND f.session_no = s.session_no
)
SELECT p.vin, p.position, p.battery_no, p.periods_back,
       SUM(CASE WHEN s.shows_supply AND days_between(s.seen_on, p.known_on) < 28 THEN 1 ELSE 0 END) AS supply_sessions_28,
       SUM(CASE WHEN s.shows_supply AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS supply_sessions_91,
       SUM(CASE WHEN s.shows_supply THEN 1 ELSE 0 END) AS supply_sessions_364,
       SUM(CASE WHEN s.shows_lost AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS lost_sessions_91,
       SUM(CASE WHEN s.floods AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS supply_floods_91,
       SUM(CASE WHEN s.floods THEN 1 ELSE 0 END) AS supply_floods_364,
       SUM(CASE WHEN days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS sessions_91,
       COUNT(*) AS sessions_364,
       MIN(CASE WHEN days_between(s.seen_on, p.known_on) < 91 THEN s.supply_voltage_v END) AS least_supply_v_91
FROM battery_day p
JOIN sessions s ON s.vin = p.vin
 AND s.seen_on > GREATEST(day_plus(p.known_on, -364), p.installed_on) AND s.seen_on <= p.known_on
GROUP BY p.vin, p.position, p.battery_no, p.periods_back
