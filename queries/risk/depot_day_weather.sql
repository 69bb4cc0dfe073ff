-- One row is a depot on a day that is looked back from: the heat of the year and of the quarter before it, the coldest mornings of
-- times gone by, and the climate of as many days ahead as the horizon has, by the years on record.
-- Reads battery_day for the days, and the weather. Where the lowest of a day is not recorded it is taken as 5
-- degrees under its mean (common practice, no source). Heat is how much faster than at 25 degrees a battery aged
-- (twice as fast every 10 degrees). What a battery came through of the cold is left to its age. coldest_came, the
-- coldest morning of the horizon after the day, is an outcome.
WITH daily AS (
    SELECT depot, day, AVG(mean_temperature_c) AS mean_c,
           MIN(COALESCE(min_temperature_c, mean_temperature_c - 5.0)) AS morning_c,
           MAX(max_temperature_c) AS highest_c
    FROM depot_weather
    GROUP BY depot, day
),
depot_day AS (SELECT DISTINCT depot, known_on FROM battery_day),
weather AS (
    SELECT depot, known_on,
           SUM(CASE WHEN back BETWEEN 0 AND 363 THEN POWER(2.0, (mean_c - 25.0) / 10.0) END)
             / NULLIF(SUM(CASE WHEN back BETWEEN 0 AND 363 THEN 1 ELSE 0 END), 0) AS heat,
           SUM(CASE WHEN back BETWEEN 0 AND 363 THEN 1 ELSE 0 END) AS heat_days,
           AVG(CASE WHEN back BETWEEN 0 AND 90 THEN GREATEST(0.0, highest_c - 30.0) END) AS heat_behind,
           MIN(CASE WHEN back BETWEEN 0 AND 27 THEN morning_c END) AS coldest_28,
           MIN(CASE WHEN back BETWEEN 28 AND 90 THEN morning_c END) AS coldest_91,
           MIN(CASE WHEN back BETWEEN 91 AND 181 THEN morning_c END) AS coldest_182,
           MIN(CASE WHEN back BETWEEN 182 AND 363 THEN morning_c END) AS coldest_364,
           MIN(CASE WHEN back BETWEEN 364 AND 727 THEN morning_c END) AS coldest_728,
           MIN(CASE WHEN back < 0 THEN morning_c END) AS coldest_came
    FROM (SELECT p.depot, p.known_on, w.mean_c, w.morning_c, w.highest_c, days_between(w.day, p.known_on) AS back
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
    -- Who reads nothing of a key further out loses it (see DEVELOPERS.md, faults of the engine).
    HAVING COUNT(DISTINCT sooner) > 0
)
SELECT w.depot, w.known_on, CASE WHEN w.heat_days >= 300 THEN w.heat END AS heat,
       w.coldest_28, w.coldest_91, w.coldest_182, w.coldest_364, w.coldest_728, w.coldest_came,
       a.cold_ahead, a.cold_ahead_variance, COALESCE(a.years_ahead, 0) AS years_ahead, a.heat_ahead, w.heat_behind
FROM weather w
LEFT JOIN climate a ON a.depot = w.depot AND a.known_on = w.known_on
