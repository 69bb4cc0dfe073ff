-- One row is one battery test with what it is held against: the rating and the chemistry of its label, or
-- those of the battery that was in that place then where the test names none (of a change's own day, the one that
-- came out).
-- Reads tests and what batteries are. A rating that the test gives without its standard is by theirs.
SELECT t.vin, t.position, t.tested_on, t.tested_at,
       t.rest_voltage_v, t.temperature_c, t.temperature_compensated, t.surface_charge_removed,
       t.measured_value, t.measured_kind, t.load_current_a, t.load_seconds, t.shop,
       COALESCE(t.rated_value, v.rating_value) AS rated_value,
       CASE WHEN t.rated_value IS NULL THEN v.rating_standard
            ELSE COALESCE(t.rated_standard, v.rating_standard) END AS rated_standard,
       COALESCE(t.chemistry, v.chemistry) AS chemistry
FROM dated_test t
LEFT JOIN battery_label v ON v.vin = t.vin AND v.position = t.position
 AND (v.battery_no = 1 OR v.installed_on < t.tested_on)
 AND (v.replaced_on IS NULL OR v.replaced_on >= t.tested_on)
