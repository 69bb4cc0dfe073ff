-- One row is one battery test, read by the trade's rules: state of charge, share of rated cranking
-- ability at 25 °C and full charge, and the verdict with the rule that gave it.
-- Reads tests, and what the battery in that place was then for a rating or chemistry the test does not
-- name (of a change's own day, the one that came out). Whose test it was is decided by battery_condition.
SELECT vin, position, tested_on, tested_at, rest_voltage_v, temperature_c, measured_value, measured_kind,
       rated_value, rated_standard, chemistry, shop,
       reading['state_of_charge'] AS state_of_charge,
       reading['health'] AS health,
       reading['health_sigma'] AS health_sigma,
       reading['verdict'] AS verdict,
       reading['rule'] AS rule
FROM (
    SELECT t.vin, t.position, CAST(t.tested_at AS DATE) AS tested_on, t.tested_at,
           t.rest_voltage_v, t.temperature_c, t.measured_value, t.measured_kind, t.shop,
           COALESCE(t.rated_value, v.rating_value) AS rated_value,
           CASE WHEN t.rated_value IS NOT NULL THEN t.rated_standard ELSE v.rating_standard END AS rated_standard,
           COALESCE(t.chemistry, v.chemistry) AS chemistry,
           read_battery_test(
               t.rest_voltage_v, t.temperature_c, t.surface_charge_removed, t.measured_value, t.measured_kind,
               t.load_current_a, t.load_seconds,
               COALESCE(t.rated_value, v.rating_value),
               CASE WHEN t.rated_value IS NOT NULL THEN t.rated_standard ELSE v.rating_standard END,
               COALESCE(t.chemistry, v.chemistry), $worn_below
           ) AS reading
    FROM battery_test t
    LEFT JOIN battery_label v ON v.vin = t.vin AND v.position = t.position
     AND (v.battery_no = 1 OR v.installed_on < CAST(t.tested_at AS DATE))
     AND (v.replaced_on IS NULL OR v.replaced_on >= CAST(t.tested_at AS DATE))
)
