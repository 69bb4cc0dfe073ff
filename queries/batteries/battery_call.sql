-- One row is a no-start, jump start or tow that was put down to the 12 V supply, once a day and battery.
-- Reads order lines, changes and tests. This is half of what counts as a battery failure; see battery_end for the
-- rest. A call that does not say which battery is of the one replaced first within $same_trouble_days of
-- it, the main one before others of that day; where none was, of the main one. found_fit_on is the first day on or
-- after it on which a test found the battery in that place fit: then the call was of no failure.
WITH called AS (
    SELECT vin, position, opened_on AS called_on, MIN(order_no) AS order_no, BOOL_OR(operation = 'tow') AS towed
    FROM order_line
    WHERE cause = 'supply'
      AND operation IN ('no-start call', 'jump start', 'tow')
    GROUP BY vin, position, opened_on
),
replaced_next AS (
    SELECT c.vin, c.called_on,
           FIRST_VALUE(n.position ORDER BY n.done_on, CASE WHEN n.position = 'main' THEN 0 ELSE 1 END, n.position) AS position
    FROM called c
    JOIN battery_change n ON n.vin = c.vin AND days_between(c.called_on, n.done_on) BETWEEN 0 AND $same_trouble_days
    WHERE c.position IS NULL
    GROUP BY c.vin, c.called_on
),
placed AS (
    SELECT c.vin, COALESCE(c.position, n.position, 'main') AS position, c.called_on,
           MIN(c.order_no) AS order_no, BOOL_OR(c.towed) AS towed
    FROM called c
    LEFT JOIN replaced_next n ON n.vin = c.vin AND n.called_on = c.called_on AND c.position IS NULL
    GROUP BY c.vin, COALESCE(c.position, n.position, 'main'), c.called_on
)
SELECT p.vin, p.position, p.called_on, p.order_no, p.towed, MIN(t.tested_on) AS found_fit_on
FROM placed p
LEFT JOIN test_verdict t ON t.vin = p.vin AND t.position = p.position AND t.verdict = 'fit' AND t.tested_on >= p.called_on
GROUP BY p.vin, p.position, p.called_on, p.order_no, p.towed
