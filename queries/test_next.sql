-- One row is a battery whose test would be worth more than it costs, the most valuable first.
-- Reads the offers. value is the expected saving that the test's answer brings, its cost taken off.
SELECT vin, position, unit_no, depot, test_value AS value,
       ROW_NUMBER() OVER (ORDER BY test_value DESC, rank) AS rank, test_why AS why
FROM replacement_offer
WHERE test_value > 0 AND failed_on IS NULL
