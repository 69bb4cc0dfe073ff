-- One row is a no-start, jump start or tow that was put down to the 12 V supply, once a day and battery.
-- Reads work orders. This is half of what counts as a battery failure; see battery_life for the rest.
SELECT vin,
       COALESCE(position, 'main') AS position,
       CAST(opened_at AS DATE) AS called_on,
       MIN(order_no) AS order_no,
       BOOL_OR(operation = 'tow') AS towed
FROM work_order
WHERE cause = 'supply'
  AND operation IN ('no-start call', 'jump start', 'tow')
GROUP BY vin, COALESCE(position, 'main'), CAST(opened_at AS DATE)
