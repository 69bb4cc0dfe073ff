-- One row is a battery: the heat it has lived through, as far as its depot's weather is known.
-- Reads battery_life and depot_weather. Degree-days are above 25 degrees; equivalent days are the days
-- at a constant 25 degrees that age a battery as much, where life halves for each 10 degrees more
-- (common practice, no source). Both are sums over the days known, and days_not_known are the others,
-- which are not guessed. The depot is the one the vehicle is at now.
WITH daily AS (
    SELECT depot, day, AVG(mean_temperature_c) AS mean_temperature_c
    FROM depot_weather
    GROUP BY depot, day
),
spans AS (
    SELECT depot, MIN(day) AS first_day, day_plus(MAX(day), 1) AS end_day FROM daily GROUP BY depot
),
calendar AS (
    SELECT depot, CAST(moment AS DATE) AS day
    FROM (SELECT depot, UNNEST(generate_series(CAST(first_day AS TIMESTAMP), CAST(end_day AS TIMESTAMP), INTERVAL '1 day')) AS moment
          FROM spans)
),
-- What had come together by the morning of a day.
summed AS (
    SELECT c.depot, c.day,
           COUNT(d.day) OVER earlier AS days_known,
           COALESCE(SUM(GREATEST(d.mean_temperature_c - 25, 0)) OVER earlier, 0) AS degree_days,
           COALESCE(SUM(POWER(2.0, (d.mean_temperature_c - 25) / 10)) OVER earlier, 0) AS equivalent_days
    FROM calendar c
    LEFT JOIN daily d ON d.depot = c.depot AND d.day = c.day
    WINDOW earlier AS (PARTITION BY c.depot ORDER BY c.day ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
),
placed AS (
    SELECT l.vin, l.position, l.battery_no, l.depot,
           days_between(l.installed_on, l.exited_on) AS days_in_vehicle,
           LEAST(GREATEST(l.installed_on, s.first_day), s.end_day) AS from_day,
           LEAST(GREATEST(l.exited_on, s.first_day), s.end_day) AS to_day
    FROM battery_life l
    LEFT JOIN spans s ON s.depot = l.depot
)
SELECT p.vin, p.position, p.battery_no, p.depot, p.days_in_vehicle,
       COALESCE(z.days_known - a.days_known, 0) AS days_known,
       p.days_in_vehicle - COALESCE(z.days_known - a.days_known, 0) AS days_not_known,
       CASE WHEN z.days_known > a.days_known THEN z.degree_days - a.degree_days END AS degree_days_above_25,
       CASE WHEN z.days_known > a.days_known THEN z.equivalent_days - a.equivalent_days END AS equivalent_days_at_25,
       CASE WHEN z.days_known > a.days_known
            THEN (z.equivalent_days - a.equivalent_days) / (z.days_known - a.days_known) END AS ageing_speed,
       COALESCE(h.heat_band, 'not known') AS depot_heat_band
FROM placed p
LEFT JOIN summed a ON a.depot = p.depot AND a.day = p.from_day
LEFT JOIN summed z ON z.depot = p.depot AND z.day = p.to_day
LEFT JOIN depot_heat h ON h.depot = p.depot
