-- One row is a battery on a day: what was known of it by then, and what became of it within the
-- horizon. discharged_on and discharged_read are of the last test that found it discharged, if it was not tested charged
-- since. The days are $as_of and every $row_weeks weeks before it.
-- Reads battery_day and what each day's tests, calls, sessions, odometer and weather say. Nothing later than the
-- row's own day goes into what was known. A battery with an open supply call that no fit test has answered has no
-- row of the past, as it may have failed already; today's chance of that is told by open_call. watched_days,
-- failed_then, next_health and coldest_came are outcomes. The rows of $as_of itself have none yet: they are the ones
-- to foretell. weight makes up for the rows that were not drawn, and for windows of the horizon that overlap.
WITH
-- The first test of the battery's health within the horizon after the row's day: what the expected
-- health is fitted to. A test after the failure finds what failed, not what was worn.
next_tests AS (
    SELECT p.vin, p.position, p.battery_no, p.periods_back,
           FIRST_VALUE(t.health_read ORDER BY t.recency DESC) AS next_health
    FROM battery_day p
    JOIN test_history t ON t.vin = p.vin AND t.position = p.position AND t.battery_no = p.battery_no
     AND t.health_read IS NOT NULL AND t.tested_on > p.known_on
     AND t.tested_on <= day_plus(p.known_on, $horizon_days)
     AND (p.failed_on IS NULL OR t.tested_on < p.failed_on)
    GROUP BY p.vin, p.position, p.battery_no, p.periods_back
)
SELECT p.vin, p.position, p.battery_no, p.periods_back, p.known_on, p.depot, p.chemistry, p.battery_group, p.powertrain,
       CAST(days_between(p.installed_on, p.known_on) AS DOUBLE) AS age_days,
       p.uncertainty_days, p.failed_before,
       t.tested_on, t.verdict, t.rest_voltage_v, t.state_of_charge, t.health, t.health_on, t.health_tests,
       COALESCE(t.found_discharged, 0) AS found_discharged,
       CASE WHEN COALESCE(t.discharged_on > t.health_on, TRUE) THEN t.discharged_on END AS discharged_on,
       CASE WHEN COALESCE(t.discharged_on > t.health_on, TRUE) THEN t.discharged_read END AS discharged_read,
       COALESCE(m.calls, 0) AS calls, COALESCE(m.charges, 0) AS charges,
       COALESCE(c.supply_sessions_28, 0) AS supply_sessions_28, COALESCE(c.supply_sessions_91, 0) AS supply_sessions_91,
       COALESCE(c.supply_sessions_364, 0) AS supply_sessions_364, COALESCE(c.lost_sessions_91, 0) AS lost_sessions_91,
       COALESCE(c.supply_floods_91, 0) AS supply_floods_91, COALESCE(c.supply_floods_364, 0) AS supply_floods_364,
       COALESCE(c.sessions_91, 0) AS sessions_91, COALESCE(c.sessions_364, 0) AS sessions_364, c.least_supply_v_91,
       d.km_per_day,
       w.heat,
       w.coldest_28, w.coldest_91, w.coldest_182, w.coldest_364, w.coldest_728,
       w.cold_ahead, w.cold_ahead_variance, COALESCE(w.years_ahead, 0) AS years_ahead, w.heat_ahead, w.heat_behind,
       CASE WHEN p.periods_back > 0 THEN w.coldest_came END AS coldest_came, n.next_health, p.watched_days, p.failed_then, p.doubtful_then,
       CASE WHEN p.periods_back = 0 THEN 0.0 ELSE p.rows_meant * LEAST(1.0, 7.0 * $row_weeks / $horizon_days) END AS weight
FROM battery_day p
LEFT JOIN test_history t ON t.vin = p.vin AND t.position = p.position AND t.battery_no = p.battery_no
 AND t.tested_on <= p.known_on AND (t.next_tested_on IS NULL OR t.next_tested_on > p.known_on)
LEFT JOIN next_tests n ON n.vin = p.vin AND n.position = p.position AND n.battery_no = p.battery_no AND n.periods_back = p.periods_back
LEFT JOIN battery_day_call m ON m.vin = p.vin AND m.position = p.position AND m.battery_no = p.battery_no AND m.periods_back = p.periods_back
LEFT JOIN battery_day_code c ON c.vin = p.vin AND c.position = p.position AND c.battery_no = p.battery_no AND c.periods_back = p.periods_back
LEFT JOIN odometer_pace d ON d.vin = p.vin AND d.seen_on <= p.known_on AND (d.next_seen_on IS NULL OR d.next_seen_on > p.known_on)
LEFT JOIN depot_day_weather w ON w.depot = p.depot AND w.known_on = p.known_on
WHERE p.periods_back = 0 OR (p.watched_days > 0 AND NOT COALESCE(m.call_open, FALSE))
