-- One row is one battery test with the battery it was made on and that battery's age then.
-- Reads the tests' verdicts and the batteries' lives. Several tests of one battery on one day stay
-- several rows.
SELECT l.vin, l.position, l.battery_no, t.tested_on, t.tested_at,
       CAST(days_between(l.installed_on, t.tested_on) AS DOUBLE) AS age_days,
       t.rest_voltage_v, t.temperature_c, t.measured_value, t.measured_kind, t.rated_value, t.rated_standard,
       t.chemistry, t.state_of_charge, t.health, t.health_sigma, t.verdict, t.rule, t.shop,
       ROW_NUMBER() OVER (
           PARTITION BY l.vin, l.position, l.battery_no
           ORDER BY t.tested_at DESC, t.health NULLS LAST, t.rest_voltage_v NULLS LAST
       ) AS recency
FROM battery_life l
JOIN test_verdict t ON t.vin = l.vin AND t.position = l.position
 AND t.tested_on >= l.installed_on
 AND (l.replaced_on IS NULL OR t.tested_on < l.replaced_on
      -- the day of the change, the test that led to it speaks of the old battery
      OR (t.tested_on = l.replaced_on AND t.verdict <> 'fit'))
