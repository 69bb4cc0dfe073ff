-- One row is a battery test with what all tests of the battery said up to it: how many read its health, and the
-- last of them.
-- Reads battery_condition. What a battery found discharged reads is kept apart (discharged_read): it says of its
-- health what the model learns that such readings say. A share of the rating that no battery has says nothing:
-- makers deliver up to a fifth more than the label and testers read a few points off, so beyond 1.4 the reading or
-- the rating is wrong (common practice, no source); lake_finding counts and names them.
WITH measured AS (
    SELECT * EXCEPT (health), CASE WHEN health BETWEEN 0 AND 1.4 THEN health END AS health
    FROM battery_condition
),
tests AS (
    SELECT vin, position, battery_no, tested_on, verdict, rest_voltage_v, state_of_charge,
           CASE WHEN verdict <> 'discharged' THEN health END AS health,
           CASE WHEN verdict <> 'discharged' AND health IS NOT NULL THEN tested_on END AS healthy_on,
           CASE WHEN verdict = 'discharged' THEN COALESCE(health, -1) END AS discharged_health,
           CASE WHEN verdict = 'discharged' THEN tested_on END AS flat_on,
           age_days / 365.25 AS age_years,
           recency
    FROM measured
)
SELECT vin, position, battery_no, tested_on, recency, age_years, rest_voltage_v, health AS health_read,
       LEAD(tested_on) OVER by_time AS next_tested_on,
       COUNT(health) OVER so_far AS health_tests,
       SUM(CASE WHEN verdict = 'discharged' THEN 1 ELSE 0 END) OVER so_far AS found_discharged,
       LAST_VALUE(health) IGNORE NULLS OVER so_far AS health,
       LAST_VALUE(healthy_on) IGNORE NULLS OVER so_far AS health_on,
       -- Of that last test alone: where it could not be read (-1), no older one stands in for it.
       NULLIF(LAST_VALUE(discharged_health) IGNORE NULLS OVER so_far, -1) AS discharged_read,
       LAST_VALUE(flat_on) IGNORE NULLS OVER so_far AS discharged_on,
       verdict, state_of_charge
FROM tests
WINDOW by_time AS (PARTITION BY vin, position, battery_no ORDER BY recency DESC),
       so_far AS (PARTITION BY vin, position, battery_no ORDER BY recency DESC
                  ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
