-- One row is a battery whose test may change what to do with it, the most valuable first.
-- Reads the plan. saving is what the test's answer is expected to bring, net_saving that less the cost
-- of a test: where it pays, the test is worth a visit of its own; the others are for when the vehicle is
-- in anyway. likely_lower and likely_upper are what it would likely show, shares of the rating. What is replaced this week needs no test.
SELECT vin, position, unit_no, depot, test_saving AS saving, test_net_saving AS net_saving, test_net_saving > 0 AS pays,
       ROW_NUMBER() OVER (ORDER BY test_saving DESC, rank) AS rank,
       age_days, days_since_health, test_likely_lower AS likely_lower, test_likely_upper AS likely_upper
FROM replacement_plan
WHERE test_saving >= 0.5 AND failed_on IS NULL AND action <> 'this week'
