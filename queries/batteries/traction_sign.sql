-- One row is trouble of a vehicle with a traction battery that a shop put down to the 12 V supply or to
-- the traction battery, with the signs seen around it.
-- Reads work orders, tests, sessions. A sign is null where nobody looked. How the signs part the two
-- causes is what a likelihood ratio is made from.
WITH trouble AS (
    SELECT DISTINCT w.vin, CAST(w.opened_at AS DATE) AS opened_on, w.cause
    FROM work_order w
    JOIN fleet_vehicle v ON v.vin = w.vin
    WHERE w.cause IN ('supply', 'traction battery')
      AND v.powertrain IN ('hybrid', 'plug-in hybrid', 'battery electric', 'fuel cell')
),
tested AS (
    SELECT t.vin, t.opened_on, t.cause, BOOL_OR(b.verdict IN ('worn', 'failed', 'discharged')) AS bad_test
    FROM trouble t
    JOIN test_verdict b ON b.vin = t.vin AND b.verdict <> 'untested'
     AND days_between(b.tested_on, t.opened_on) BETWEEN -30 AND 30
    GROUP BY t.vin, t.opened_on, t.cause
),
scanned AS (
    SELECT t.vin, t.opened_on, t.cause,
           MIN(s.supply_voltage_v) < 11.8 AS low_supply,
           MAX(s.supply_codes) > 0 AS supply_codes,
           MAX(s.lost_targets) >= 3 AS many_silent
    FROM trouble t
    JOIN code_session s ON s.vin = t.vin
     AND days_between(CAST(s.started_at AS DATE), t.opened_on) BETWEEN -7 AND 14
    GROUP BY t.vin, t.opened_on, t.cause
)
SELECT t.vin, t.opened_on, t.cause, b.bad_test, s.low_supply, s.supply_codes, s.many_silent
FROM trouble t
LEFT JOIN tested b ON b.vin = t.vin AND b.opened_on = t.opened_on AND b.cause = t.cause
LEFT JOIN scanned s ON s.vin = t.vin AND s.opened_on = t.opened_on AND s.cause = t.cause
