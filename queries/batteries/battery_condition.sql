-- One row is one battery test with the battery it was made on and that battery's age then.
-- Reads the tests' verdicts and the batteries' time in place. A test on the day a battery went in was of the one
-- that came out, as calls are, unless it was made after the order that changed it was closed; the first
-- battery of a place has none before it and keeps its own. So a test is of one battery at most. Several
-- tests of one battery on one day stay several rows.
SELECT l.vin, l.position, l.battery_no, t.tested_on, t.tested_at,
       CAST(days_between(l.installed_on, t.tested_on) AS DOUBLE) AS age_days,
       t.rest_voltage_v, t.temperature_c, t.measured_value, t.measured_kind, t.rated_value, t.rated_standard,
       t.chemistry, t.state_of_charge, t.health, t.health_sigma, t.verdict, t.rule, t.shop,
       ROW_NUMBER() OVER (
           PARTITION BY l.vin, l.position, l.battery_no
           ORDER BY t.tested_at DESC, t.health NULLS LAST, t.rest_voltage_v NULLS LAST
       ) AS recency
FROM battery_span l
JOIN test_verdict t ON t.vin = l.vin AND t.position = l.position
 AND (t.tested_on > l.installed_on
      OR (t.tested_on = l.installed_on AND (l.battery_no = 1 OR COALESCE(t.tested_at > l.fitted_at, FALSE))))
 AND (l.replaced_on IS NULL OR t.tested_on < l.replaced_on
      OR (t.tested_on = l.replaced_on AND NOT COALESCE(t.tested_at > l.replaced_at, FALSE)))
