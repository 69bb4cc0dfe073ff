-- One row is the last test of a vehicle's main battery that is in now.
-- Reads tests and present_main_battery. Where no life says which battery a test was of, the day the battery came
-- parts tests of the old from those of the new: a test on the day of an order is the new one's when it was made
-- after the order was closed.
WITH of_present AS (
    SELECT t.vin, t.tested_on, t.tested_at, t.verdict, t.health, t.rest_voltage_v, t.rule, t.chemistry
    FROM battery_condition t
    JOIN present_main_battery b ON b.vin = t.vin AND b.battery_no = t.battery_no
    WHERE t.position = 'main'
    UNION ALL
    SELECT t.vin, t.tested_on, t.tested_at, t.verdict, t.health, t.rest_voltage_v, t.rule, t.chemistry
    FROM test_verdict t
    LEFT JOIN present_main_battery b ON b.vin = t.vin
    WHERE t.position = 'main' AND b.battery_no IS NULL
      AND CASE WHEN b.evidence = 'work order'
               THEN t.tested_on > b.installed_on
                 OR (t.tested_on = b.installed_on AND COALESCE(t.tested_at > b.fitted_at, FALSE))
               ELSE COALESCE(t.tested_on >= b.installed_on, TRUE) END
),
ranked AS (
    SELECT *, ROW_NUMBER() OVER (
               PARTITION BY vin ORDER BY tested_at DESC, health NULLS LAST, rest_voltage_v NULLS LAST) AS recency
    FROM of_present
)
SELECT vin, tested_on, verdict, health, rest_voltage_v, rule, chemistry FROM ranked WHERE recency = 1
