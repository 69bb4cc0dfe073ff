-- One row is a call put down to the supply that was still open so many days later: no new battery, no fit test
-- since. What was found by then, and whether the battery proved to have failed within $horizon_days.
-- Reads calls, lives, tests and orders. A call is looked at on the day itself, a week and four weeks later, as what has
-- stood for long has stood for a reason. proved is null until those days are over: it was replaced as failed by then.
WITH asked AS (
    SELECT c.vin, c.position, l.battery_no, c.called_on, w.waited_days, day_plus(c.called_on, w.waited_days) AS asked_on,
           l.outcome, l.replaced_on, l.gone_on
    FROM battery_call c
    JOIN battery_life l ON l.vin = c.vin AND l.position = c.position AND l.installed_on < c.called_on
     AND (l.replaced_on IS NULL OR l.replaced_on >= c.called_on)
    CROSS JOIN (VALUES (0), (7), (28)) AS w (waited_days)
    WHERE (c.found_fit_on IS NULL OR c.found_fit_on > day_plus(c.called_on, w.waited_days))
      AND (l.replaced_on IS NULL OR l.replaced_on > day_plus(c.called_on, w.waited_days))
      AND (l.gone_on IS NULL OR l.gone_on > day_plus(c.called_on, w.waited_days))
      AND day_plus(c.called_on, w.waited_days) <= $as_of
),
charged AS (
    SELECT vin, position, tested_on AS charged_on FROM test_verdict WHERE verdict = 'discharged'
    UNION ALL
    SELECT vin, COALESCE(position, 'main'), opened_on FROM order_line WHERE operation = 'battery charged'
),
found AS (
    SELECT a.vin, a.position, a.called_on, a.waited_days, COUNT(t.vin) > 0 AS found_bad, COUNT(h.vin) > 0 AS found_charged
    FROM asked a
    LEFT JOIN test_verdict t ON t.vin = a.vin AND t.position = a.position AND t.verdict IN ('worn', 'failed')
     AND t.tested_on BETWEEN a.called_on AND a.asked_on
    LEFT JOIN charged h ON h.vin = a.vin AND h.position = a.position AND h.charged_on BETWEEN a.called_on AND a.asked_on
    GROUP BY a.vin, a.position, a.called_on, a.waited_days
)
SELECT a.vin, a.position, a.battery_no, a.called_on, a.waited_days, a.asked_on,
       CASE WHEN f.found_bad THEN 'found worn or failed' WHEN f.found_charged THEN 'charged' ELSE 'not looked at' END AS since_then,
       CASE WHEN a.outcome = 'failed' AND a.replaced_on <= day_plus(a.asked_on, $horizon_days) THEN TRUE
            WHEN day_plus(a.asked_on, $horizon_days) <= $as_of OR a.replaced_on IS NOT NULL THEN FALSE END AS proved
FROM asked a
JOIN found f ON f.vin = a.vin AND f.position = a.position AND f.called_on = a.called_on AND f.waited_days = a.waited_days
