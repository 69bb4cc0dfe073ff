-- One row is a battery on a day: what was known of it by then, and what became of it within the
-- horizon. The days are $as_of and every $row_weeks weeks before it.
-- Reads lives, tests, sessions, calls, orders, the register and the weather. Nothing later than the
-- row's own day goes into what was known: a battery counts from the day its coming was on record, a
-- date code from the day it was read, and a battery with an open supply call that no fit test has answered has no
-- row, as it would have been taken for failed. watched_days and failed_then are the outcome. The rows of $as_of itself
-- have no outcome yet: they are the ones to foretell. Of rows without a failure about $sample_rows are
-- drawn by a hash of the battery and the day; weight makes up for those left out, and for windows of
-- the horizon that overlap.
WITH code_read AS (
    SELECT vin, position, MIN(CAST(tested_at AS DATE)) AS read_on
    FROM battery_test WHERE date_code IS NOT NULL
    GROUP BY vin, position
),
register_seen AS (
    SELECT vin, battery_installed_on, MIN(seen_on) AS seen_on
    FROM vehicle WHERE battery_installed_on IS NOT NULL
    GROUP BY vin, battery_installed_on
),
lives AS (
    SELECT l.*, v.in_service_date, d.read_on,
           GREATEST(l.entered_on, COALESCE(r.seen_on, l.entered_on)) AS known_from,
           COALESCE(SUM(CASE WHEN l.failed THEN 1 ELSE 0 END) OVER (
               PARTITION BY l.vin, l.position ORDER BY l.battery_no
               ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0) AS failed_before
    FROM battery_life l
    JOIN fleet_vehicle v ON v.vin = l.vin
    LEFT JOIN code_read d ON d.vin = l.vin AND d.position = l.position
     AND l.evidence IN ('date code', 'first day on the road')
    LEFT JOIN register_seen r ON r.vin = l.vin AND l.evidence = 'register'
     AND r.battery_installed_on = l.installed_on
),
grid AS (
    SELECT vin, position, battery_no, exited_on, failed,
           UNNEST(GENERATE_SERIES(
               CASE WHEN in_service AND failed_on IS NULL THEN 0
                    ELSE (days_between(exited_on, $as_of) + 7 * $row_weeks) / (7 * $row_weeks) END,
               CASE WHEN days_between(known_from, $as_of) < 0 THEN -1
                    ELSE days_between(known_from, $as_of) / (7 * $row_weeks) END
           )) AS step
    FROM lives
),
dated AS (
    SELECT vin, position, battery_no, step, day_plus($as_of, -7 * $row_weeks * step) AS known_on,
           LEAST(days_between(day_plus($as_of, -7 * $row_weeks * step), exited_on), $horizon_days) AS seen_days,
           failed AND days_between(day_plus($as_of, -7 * $row_weeks * step), exited_on) <= $horizon_days AS failed_then
    FROM grid
),
counted AS (
    SELECT GREATEST(COUNT(*), 1) AS rows FROM dated WHERE step > 0 AND NOT failed_then
),
drawn AS (
    SELECT g.*,
           CASE WHEN step = 0 OR failed_then THEN 1.0
                ELSE GREATEST(1.0, c.rows / CAST($sample_rows AS DOUBLE)) END AS stands_for
    FROM dated g CROSS JOIN counted c
    WHERE step = 0 OR failed_then
       OR sample_share(vin || ' ' || position || ' ' || CAST(known_on AS VARCHAR)) * c.rows < $sample_rows
),
placed AS (
    SELECT g.vin, g.position, g.battery_no, g.step, g.known_on, g.stands_for, g.failed_then,
           CASE WHEN g.failed_then THEN LEAST(days_between(g.known_on, $as_of), $horizon_days)
                ELSE g.seen_days END AS watched_days,
           l.depot, l.chemistry, l.battery_group, l.powertrain, l.failed_before, l.failed_on,
           CASE WHEN g.known_on < l.read_on THEN l.in_service_date ELSE l.installed_on END AS installed_on,
           CASE WHEN g.known_on < l.read_on THEN 180 ELSE l.uncertainty_days END AS uncertainty_days
    FROM drawn g
    JOIN lives l ON l.vin = g.vin AND l.position = g.position AND l.battery_no = g.battery_no
),
-- A share of the rating that no battery has: makers deliver up to a fifth more than the label and testers
-- read a few points off, so beyond 1.4 the reading or the rating is wrong and the test says nothing of its
-- health (common practice, no source). lake_finding counts and names them.
measured AS (
    SELECT * EXCEPT (health), CASE WHEN health BETWEEN 0 AND 1.4 THEN health END AS health
    FROM battery_condition
),
-- Each test with what all tests of the battery said up to it. Lost ability is the share of the rated
-- cranking ability that is gone; a battery found discharged says nothing of its health.
tests AS (
    SELECT vin, position, battery_no, tested_on, tested_at, verdict, rest_voltage_v, state_of_charge,
           CASE WHEN verdict <> 'discharged' THEN health END AS health,
           CASE WHEN verdict <> 'discharged' AND health IS NOT NULL THEN tested_on END AS healthy_on,
           age_days / 365.25 AS age_years,
           recency
    FROM measured
),
told AS (
    SELECT vin, position, battery_no, tested_on, rest_voltage_v,
           LEAD(tested_on) OVER by_time AS next_tested_on,
           COUNT(health) OVER so_far AS health_tests,
           SUM(health) OVER so_far AS health_sum,
           SUM(CASE WHEN health IS NOT NULL THEN age_years ELSE 0 END) OVER so_far AS age_sum,
           SUM(CASE WHEN health IS NOT NULL THEN age_years * age_years ELSE 0 END) OVER so_far AS age_square_sum,
           SUM(CASE WHEN health IS NOT NULL THEN age_years * health ELSE 0 END) OVER so_far AS age_health_sum,
           SUM(CASE WHEN verdict = 'discharged' THEN 1 ELSE 0 END) OVER so_far AS found_discharged,
           LAST_VALUE(health) IGNORE NULLS OVER so_far AS health,
           LAST_VALUE(healthy_on) IGNORE NULLS OVER so_far AS health_on,
           verdict, state_of_charge
    FROM tests
    WINDOW by_time AS (PARTITION BY vin, position, battery_no ORDER BY recency DESC),
           so_far AS (PARTITION BY vin, position, battery_no ORDER BY recency DESC
                      ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
),
-- The first test of the battery's health within the horizon after the row's day: what the expected
-- health is fitted to. It is an outcome like failed_then. A test after the failure finds what failed,
-- not what was worn.
next_tests AS (
    SELECT p.vin, p.position, p.battery_no, p.step,
           FIRST_VALUE(t.health ORDER BY t.recency DESC) AS next_health
    FROM placed p
    JOIN tests t ON t.vin = p.vin AND t.position = p.position AND t.battery_no = p.battery_no
     AND t.health IS NOT NULL AND t.tested_on > p.known_on
     AND t.tested_on <= day_plus(p.known_on, $horizon_days)
     AND (p.failed_on IS NULL OR t.tested_on < p.failed_on)
    GROUP BY p.vin, p.position, p.battery_no, p.step
),
-- Supply calls and charges of a battery that went on in service.
mishaps AS (
    SELECT p.vin, p.position, p.battery_no, p.step,
           SUM(CASE WHEN m.call THEN 1 ELSE 0 END) AS calls,
           SUM(CASE WHEN m.call THEN 0 ELSE 1 END) AS charges,
           BOOL_OR(m.call AND days_between(m.happened_on, p.known_on) <= $trouble_days
                   AND NOT COALESCE(m.found_fit_on <= p.known_on, FALSE)) AS call_open
    FROM placed p
    JOIN (SELECT vin, position, called_on AS happened_on, found_fit_on, TRUE AS call FROM battery_call
          UNION ALL
          SELECT DISTINCT vin, COALESCE(position, 'main'), opened_on, CAST(NULL AS DATE), FALSE
          FROM order_line WHERE operation = 'battery charged') m
      ON m.vin = p.vin AND m.position = p.position
     AND m.happened_on >= p.installed_on AND m.happened_on <= p.known_on
    GROUP BY p.vin, p.position, p.battery_no, p.step
),
sessions AS (
    SELECT s.vin, CAST(s.ended_at AS DATE) AS seen_on, s.supply_voltage_v,
           s.supply_codes > 0 AS shows_supply, s.lost_codes > 0 AS shows_lost,
           COALESCE(f.cause_then = 'supply', FALSE) AS floods
    FROM code_session s
    LEFT JOIN code_flood f ON f.vin = s.vin AND f.session_no = s.session_no
),
coded AS (
    SELECT p.vin, p.position, p.battery_no, p.step,
           SUM(CASE WHEN s.shows_supply AND days_between(s.seen_on, p.known_on) < 28 THEN 1 ELSE 0 END) AS supply_sessions_28,
           SUM(CASE WHEN s.shows_supply AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS supply_sessions_91,
           SUM(CASE WHEN s.shows_supply THEN 1 ELSE 0 END) AS supply_sessions_364,
           SUM(CASE WHEN s.shows_lost AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS lost_sessions_91,
           SUM(CASE WHEN s.floods AND days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS supply_floods_91,
           SUM(CASE WHEN s.floods THEN 1 ELSE 0 END) AS supply_floods_364,
           SUM(CASE WHEN days_between(s.seen_on, p.known_on) < 91 THEN 1 ELSE 0 END) AS sessions_91,
           COUNT(*) AS sessions_364,
           MIN(CASE WHEN days_between(s.seen_on, p.known_on) < 91 THEN s.supply_voltage_v END) AS least_supply_v_91
    FROM placed p
    JOIN sessions s ON s.vin = p.vin
     AND s.seen_on > GREATEST(day_plus(p.known_on, -364), p.installed_on) AND s.seen_on <= p.known_on
    GROUP BY p.vin, p.position, p.battery_no, p.step
),
driven AS (
    SELECT vin, seen_on, next_seen_on,
           CASE WHEN seen_on > before_on AND odometer_km >= before_km
                THEN (odometer_km - before_km) / days_between(before_on, seen_on) END AS km_per_day
    FROM (
        SELECT vin, seen_on, odometer_km,
               LAG(seen_on) OVER by_day AS before_on, LAG(odometer_km) OVER by_day AS before_km,
               LEAD(seen_on) OVER by_day AS next_seen_on
        FROM (SELECT vin, seen_on, MAX(odometer_km) AS odometer_km FROM vehicle
              WHERE odometer_km IS NOT NULL GROUP BY vin, seen_on)
        WINDOW by_day AS (PARTITION BY vin ORDER BY seen_on)
    )
),
-- Where the lowest of a day is not recorded it is taken as 5 degrees under its mean (common practice, no
-- source).
daily AS (
    SELECT depot, day, AVG(mean_temperature_c) AS mean_c,
           MIN(COALESCE(min_temperature_c, mean_temperature_c - 5.0)) AS morning_c,
           MAX(max_temperature_c) AS highest_c
    FROM depot_weather
    GROUP BY depot, day
),
depot_day AS (SELECT DISTINCT depot, known_on FROM placed),
-- Heat is how much faster than at 25 degrees a battery aged over the last year (twice as fast every 10
-- degrees). The coldest mornings are those of times gone by; what a battery came through of them is left to
-- its age. coldest_came is an outcome.
weather AS (
    SELECT depot, known_on,
           SUM(CASE WHEN back BETWEEN 0 AND 363 THEN POWER(2.0, (mean_c - 25.0) / 10.0) END)
             / NULLIF(SUM(CASE WHEN back BETWEEN 0 AND 363 THEN 1 ELSE 0 END), 0) AS heat,
           SUM(CASE WHEN back BETWEEN 0 AND 363 THEN 1 ELSE 0 END) AS heat_days,
           MIN(CASE WHEN back BETWEEN 0 AND 27 THEN morning_c END) AS coldest_28,
           MIN(CASE WHEN back BETWEEN 28 AND 90 THEN morning_c END) AS coldest_91,
           MIN(CASE WHEN back BETWEEN 91 AND 181 THEN morning_c END) AS coldest_182,
           MIN(CASE WHEN back BETWEEN 182 AND 363 THEN morning_c END) AS coldest_364,
           MIN(CASE WHEN back BETWEEN 364 AND 727 THEN morning_c END) AS coldest_728,
           MIN(CASE WHEN back < 0 THEN morning_c END) AS coldest_came
    FROM (SELECT p.depot, p.known_on, w.mean_c, w.morning_c, days_between(w.day, p.known_on) AS back
          FROM depot_day p
          JOIN daily w ON w.depot = p.depot AND w.day <= day_plus(p.known_on, $horizon_days)
           AND w.day > day_plus(p.known_on, -728))
    GROUP BY depot, known_on
),
-- The climate ahead: the coldest morning of as many days as the horizon has, in each recorded year, of the
-- weeks that begin today, two weeks sooner and two later, as one year's cold comes sooner and another's later.
years AS (
    SELECT p.depot, p.known_on, s.sooner, (days_between(w.day, p.known_on) + $horizon_days + s.sooner) / 364 AS year,
           COUNT(*) AS days, MIN(w.morning_c) AS morning_c, AVG(GREATEST(0.0, w.highest_c - 30.0)) AS heat
    FROM depot_day p
    CROSS JOIN (VALUES (-14), (0), (14)) AS s (sooner)
    JOIN daily w ON w.depot = p.depot AND w.day <= p.known_on
     AND days_between(w.day, p.known_on) + $horizon_days + s.sooner >= 364
     AND (days_between(w.day, p.known_on) + $horizon_days + s.sooner) % 364 < $horizon_days
    GROUP BY 1, 2, 3, 4
),
-- Years are compared at the same season: two weeks in spring differ more than two winters do.
climate AS (
    SELECT depot, known_on, MAX(years_ahead) AS years_ahead, AVG(cold_ahead) AS cold_ahead,
           AVG(cold_ahead_variance) AS cold_ahead_variance, AVG(heat_ahead) AS heat_ahead
    FROM (SELECT depot, known_on, sooner, COUNT(*) AS years_ahead, AVG(morning_c) AS cold_ahead,
                 VAR_POP(morning_c) AS cold_ahead_variance, AVG(heat) AS heat_ahead
          FROM years
          WHERE 10 * days >= 8 * $horizon_days
          GROUP BY depot, known_on, sooner)
    GROUP BY depot, known_on
)
SELECT p.vin, p.position, p.battery_no, p.step, p.known_on, p.depot, p.chemistry, p.battery_group, p.powertrain,
       CAST(days_between(p.installed_on, p.known_on) AS DOUBLE) AS age_days,
       p.uncertainty_days, p.failed_before,
       t.tested_on, t.verdict, t.rest_voltage_v, t.state_of_charge, t.health, t.health_on, t.health_tests,
       t.health_sum, t.age_sum, t.age_square_sum, t.age_health_sum, COALESCE(t.found_discharged, 0) AS found_discharged,
       COALESCE(m.calls, 0) AS calls, COALESCE(m.charges, 0) AS charges,
       COALESCE(c.supply_sessions_28, 0) AS supply_sessions_28, COALESCE(c.supply_sessions_91, 0) AS supply_sessions_91,
       COALESCE(c.supply_sessions_364, 0) AS supply_sessions_364, COALESCE(c.lost_sessions_91, 0) AS lost_sessions_91,
       COALESCE(c.supply_floods_91, 0) AS supply_floods_91, COALESCE(c.supply_floods_364, 0) AS supply_floods_364,
       COALESCE(c.sessions_91, 0) AS sessions_91, COALESCE(c.sessions_364, 0) AS sessions_364, c.least_supply_v_91,
       d.km_per_day,
       CASE WHEN w.heat_days >= 300 THEN w.heat END AS heat,
       w.coldest_28, w.coldest_91, w.coldest_182, w.coldest_364, w.coldest_728,
       a.cold_ahead, a.cold_ahead_variance, COALESCE(a.years_ahead, 0) AS years_ahead, a.heat_ahead,
       CASE WHEN p.step > 0 THEN w.coldest_came END AS coldest_came, n.next_health, p.watched_days, p.failed_then,
       CASE WHEN p.step = 0 THEN 0.0 ELSE p.stands_for * LEAST(1.0, 7.0 * $row_weeks / $horizon_days) END AS weight
FROM placed p
LEFT JOIN told t ON t.vin = p.vin AND t.position = p.position AND t.battery_no = p.battery_no
 AND t.tested_on <= p.known_on AND (t.next_tested_on IS NULL OR t.next_tested_on > p.known_on)
LEFT JOIN next_tests n ON n.vin = p.vin AND n.position = p.position AND n.battery_no = p.battery_no AND n.step = p.step
LEFT JOIN mishaps m ON m.vin = p.vin AND m.position = p.position AND m.battery_no = p.battery_no AND m.step = p.step
LEFT JOIN coded c ON c.vin = p.vin AND c.position = p.position AND c.battery_no = p.battery_no AND c.step = p.step
LEFT JOIN driven d ON d.vin = p.vin AND d.seen_on <= p.known_on AND (d.next_seen_on IS NULL OR d.next_seen_on > p.known_on)
LEFT JOIN weather w ON w.depot = p.depot AND w.known_on = p.known_on
LEFT JOIN climate a ON a.depot = p.depot AND a.known_on = p.known_on
WHERE (p.watched_days > 0 OR p.step = 0) AND NOT COALESCE(m.call_open, FALSE)
