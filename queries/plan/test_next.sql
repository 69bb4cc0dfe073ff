-- One row is a battery whose test may change what to do with it, the most valuable first.
-- Reads the plan. worth is the expected saving that the test's answer brings, value that less the cost
-- of a test: where it pays, the test is worth a visit of its own; the others are for when the vehicle is
-- in anyway. likely_lower and likely_upper are what it would likely show, shares of the rating. What is replaced this week needs no test.
SELECT vin, position, unit_no, depot, test_worth AS worth, test_value AS value, test_value > 0 AS pays,
       ROW_NUMBER() OVER (ORDER BY test_worth DESC, rank) AS rank,
       age_days, days_since_health, test_likely_lower AS likely_lower, test_likely_upper AS likely_upper
FROM replacement_plan
WHERE test_worth >= 0.5 AND failed_on IS NULL AND action <> 'this week'
