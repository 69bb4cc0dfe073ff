-- One row is a vehicle that was scanned: which shop mostly sees it, and for how many months it was
-- under observation.
-- Reads sessions and the register. Observation is from the lake's first scan, or the vehicle's first
-- day in the fleet, to its last.
WITH first_day AS (SELECT CAST(MIN(started_at) AS DATE) AS first_day FROM code_session),
by_shop AS (
    SELECT vin, COALESCE(shop, 'not known') AS shop, COUNT(*) AS sessions
    FROM code_session
    GROUP BY vin, COALESCE(shop, 'not known')
),
mostly AS (
    SELECT vin, FIRST_VALUE(shop ORDER BY sessions DESC, shop) AS shop FROM by_shop GROUP BY vin
)
SELECT u.vin, u.shop, COALESCE(v.make || ' ' || v.model, 'not known') AS model,
       GREATEST(0, days_between(
           GREATEST(COALESCE(v.joined_fleet_date, v.in_service_date, d.first_day), d.first_day),
           LEAST(COALESCE(v.gone_on, $as_of), $as_of))) / 30.4375 AS months
FROM mostly u
CROSS JOIN first_day d
LEFT JOIN fleet_vehicle v ON v.vin = u.vin
