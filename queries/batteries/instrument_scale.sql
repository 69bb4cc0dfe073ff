-- One row is an instrument, a shop's tester of one kind of reading, in a quarter: the factor its readings are
-- high by, with 95 % limits and the batteries that says so rest on.
-- Reads tests, battery changes and the register. An instrument shows itself where others tested the same
-- battery within the same $scale_days, and where it tested batteries in their first $new_battery_days,
-- which read near their rating. Lithium is left out, whose electronics hide it from some testers, and so is
-- what was discharged. Factors are drawn towards 1 as far as the fleet's instruments agree. A quarter is
-- told by the tests before it alone, so no test is read by what came later.
WITH read AS (
    SELECT *, read_battery_test(rest_voltage_v, temperature_c, temperature_compensated, surface_charge_removed,
               measured_value, measured_kind, load_current_a, load_seconds, rated_value, rated_standard, chemistry,
               CAST(NULL AS DOUBLE), CAST(NULL AS DOUBLE), $worn_below) AS reading
    FROM test_reading
    WHERE shop IS NOT NULL AND measured_kind IS NOT NULL AND chemistry IS DISTINCT FROM 'lithium'
),
began AS (
    SELECT vin, COALESCE(position, 'main') AS position, CAST(COALESCE(closed_at, opened_at) AS DATE) AS began_on
    FROM work_order WHERE operation = 'battery replaced'
    UNION
    SELECT vin, 'main', in_service_date FROM fleet_vehicle WHERE in_service_date IS NOT NULL
),
-- A test on the day of a change is of the battery that came out.
aged AS (
    SELECT r.vin, r.position, r.tested_on, r.tested_at, r.shop, r.measured_kind, r.reading['health'] AS share,
           MAX(b.began_on) AS began_on
    FROM read r
    LEFT JOIN began b ON b.vin = r.vin AND b.position = r.position AND b.began_on < r.tested_on
    WHERE r.reading['verdict'] IN ('fit', 'worn') AND r.reading['health'] BETWEEN 0.4 AND 1.7
    GROUP BY r.vin, r.position, r.tested_on, r.tested_at, r.shop, r.measured_kind, r.reading['health']
),
stretched AS (
    SELECT tested_on, share, shop, measured_kind, vin || ' ' || position AS place,
           COALESCE(days_between(began_on, tested_on) <= $new_battery_days, FALSE) AS is_new,
           COALESCE(days_between(CAST('1970-01-01' AS DATE), began_on), 0) AS began,
           CASE WHEN days_between(began_on, tested_on) <= $new_battery_days THEN -1
                ELSE days_between(CAST('2000-01-01' AS DATE), tested_on) / $scale_days END AS stretch
    FROM aged
),
placed AS (
    SELECT tested_on, share, shop, measured_kind, is_new,
           DENSE_RANK() OVER (ORDER BY shop, measured_kind) AS instrument,
           DENSE_RANK() OVER (ORDER BY place, began, stretch) AS thing
    FROM stretched
),
quarter AS (
    SELECT DISTINCT CAST(DATE_TRUNC('quarter', CAST(tested_at AS DATE)) AS DATE) AS from_on FROM battery_test
),
-- What met one instrument only and is not new says nothing.
telling AS (
    SELECT thing FROM placed GROUP BY thing HAVING BOOL_OR(is_new) OR MIN(instrument) < MAX(instrument)
),
fitted AS (
    SELECT q.from_on, UNNEST(instrument_factors(p.thing, p.instrument, p.share, p.is_new)) AS one
    FROM quarter q
    JOIN placed p ON p.tested_on < q.from_on
    JOIN telling t ON t.thing = p.thing
    GROUP BY q.from_on
),
named AS (SELECT DISTINCT instrument, shop, measured_kind FROM placed)
SELECT n.shop, n.measured_kind, f.from_on,
       f.one['factor'] AS factor, f.one['lower'] AS factor_lower, f.one['upper'] AS factor_upper,
       f.one['log_sigma'] AS log_sigma, CAST(f.one['things'] AS BIGINT) AS batteries
FROM fitted f
JOIN named n ON n.instrument = CAST(f.one['instrument'] AS BIGINT)
WHERE f.one['things'] > 0
