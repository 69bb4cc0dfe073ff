-- One row is one battery test, read by the trade's rules: state of charge, share of rated cranking
-- ability at 25 °C and full charge, and the verdict with the rule that gave it.
-- Reads tests and what their instruments are high by against others, which is taken out of the share. It
-- knows nothing of which battery it was; battery_condition joins that.
SELECT vin, position, tested_on, tested_at, rest_voltage_v, temperature_c, measured_value, measured_kind,
       rated_value, rated_standard, chemistry, shop,
       reading['state_of_charge'] AS state_of_charge,
       reading['health'] AS health,
       reading['health_sigma'] AS health_sigma,
       reading['verdict'] AS verdict,
       reading['rule'] AS rule
FROM (
    SELECT t.*,
           read_battery_test(
               t.rest_voltage_v, t.temperature_c, t.temperature_compensated, t.surface_charge_removed,
               t.measured_value, t.measured_kind, t.load_current_a, t.load_seconds, t.rated_value, t.rated_standard,
               t.chemistry, s.factor, s.log_sigma, $worn_below
           ) AS reading
    FROM test_reading t
    LEFT JOIN instrument_scale s ON s.shop = t.shop AND s.measured_kind = t.measured_kind
     AND s.from_on = CAST(DATE_TRUNC('quarter', t.tested_on) AS DATE)
)
