-- One row is one battery test with what it is held against: the rating and the chemistry of its label, or
-- those on record where the test names none.
-- Reads tests and the register. A rating that the test gives without its standard is by the register's.
SELECT t.vin, t.position, CAST(t.tested_at AS DATE) AS tested_on, t.tested_at,
       t.rest_voltage_v, t.temperature_c, CAST(NULL AS BOOLEAN) AS temperature_compensated, t.surface_charge_removed,
       t.measured_value, t.measured_kind, t.load_current_a, t.load_seconds, t.shop,
       COALESCE(t.rated_value, v.rating_value) AS rated_value,
       CASE WHEN t.rated_value IS NULL THEN v.rating_standard
            ELSE COALESCE(t.rated_standard, v.rating_standard) END AS rated_standard,
       COALESCE(t.chemistry, v.chemistry) AS chemistry
FROM battery_test t
LEFT JOIN fleet_vehicle v ON v.vin = t.vin
