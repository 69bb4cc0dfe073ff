-- One row is a battery whose test would be worth more than it costs, the most valuable first.
-- Reads replacement_plan.
SELECT vin, position, unit_no, depot, saving AS value,
       ROW_NUMBER() OVER (ORDER BY rank) AS rank, reasons AS why
FROM replacement_plan
WHERE action = 'test first'
