-- One row is a depot of which the weather is known: how hard its last year was on batteries.
-- Reads depot_weather, the 365 days up to $as_of. A day's weight is 2 ^ ((mean - 25) / 10): a battery
-- lives half as long for each 10 degrees more (common practice, no source), so the mean weight is the
-- speed of ageing against 25 degrees, and its equal is the constant temperature of the same speed. Days
-- not known are not guessed; the band is not known below nine days in ten, or a season may be missing.
-- Bands (cool, mild, warm, hot, each 5 degrees from 15) are of the place and not of a battery's own time, which ends with its failure.
WITH daily AS (
    SELECT depot, day, AVG(mean_temperature_c) AS mean_temperature_c
    FROM depot_weather
    WHERE days_between(day, $as_of) BETWEEN 0 AND 364
    GROUP BY depot, day
),
-- Summed in the order of days, so that a sum is the same in every bit whenever it is made.
yearly AS (
    SELECT DISTINCT depot, COUNT(*) OVER year AS days_known,
           AVG(mean_temperature_c) OVER year AS mean_temperature_c,
           SUM(GREATEST(mean_temperature_c - 25, 0)) OVER year AS degree_days_above_25,
           AVG(POWER(2.0, (mean_temperature_c - 25) / 10)) OVER year AS ageing_speed
    FROM daily
    WINDOW year AS (PARTITION BY depot ORDER BY day ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING)
),
placed AS (SELECT *, 25 + 10 * LOG2(ageing_speed) AS equal_temperature_c FROM yearly)
SELECT *,
       CASE WHEN days_known < 329 THEN 'not known'
            WHEN equal_temperature_c < 15 THEN 'cool'
            WHEN equal_temperature_c < 20 THEN 'mild'
            WHEN equal_temperature_c < 25 THEN 'warm'
            ELSE 'hot' END AS heat_band
FROM placed
