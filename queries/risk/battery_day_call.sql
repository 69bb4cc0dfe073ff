-- One row is a battery on a day before which it was called to for starting trouble or charged: how often since
-- it was installed, and whether a call of the last $trouble_days is open: answered by no fit test.
-- Reads battery_day, calls and charges, and counts only those that the battery went on after, in service.
SELECT p.vin, p.position, p.battery_no, p.periods_back,
       SUM(CASE WHEN m.call THEN 1 ELSE 0 END) AS calls,
       SUM(CASE WHEN m.call THEN 0 ELSE 1 END) AS charges,
       BOOL_OR(m.call AND days_between(m.happened_on, p.known_on) <= $trouble_days
               AND NOT COALESCE(m.found_fit_on <= p.known_on, FALSE)) AS call_open
FROM battery_day p
JOIN (SELECT vin, position, called_on AS happened_on, found_fit_on, TRUE AS call FROM battery_call
      UNION ALL
      SELECT DISTINCT vin, COALESCE(position, 'main'), opened_on, CAST(NULL AS DATE), FALSE
      FROM order_line WHERE operation = 'battery charged') m
  ON m.vin = p.vin AND m.position = p.position
 AND m.happened_on >= p.installed_on AND m.happened_on <= p.known_on
GROUP BY p.vin, p.position, p.battery_no, p.periods_back
