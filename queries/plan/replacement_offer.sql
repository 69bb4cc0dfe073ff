-- One row is a battery in service with what replacing it now is worth, before the depot's limits.
-- Reads the chances, what new life costs, and what a test would be worth. Replacing now saves the
-- failure it prevents and gives up the service the battery would still have given, valued at what new
-- life costs a day: saving = chance x (failure - planned) - cost of new life over the time it would
-- have lasted. pays_from is the chance at which that is nought. Wanted is 'must' for a battery that has
-- failed, 'test first' where the answer of a test is worth more than it costs and the depot can still
-- make it, 'this week' where replacing pays, 'next service' where it does not yet but the
-- chance is $nearly_pays or more of the one it pays from, so that it may by the time the vehicle is in.
WITH valued AS (
    SELECT r.*, p.planned_cost, p.best_age_days, t.value AS test_value, t.worth AS test_worth,
           t.likely_lower AS test_likely_lower, t.likely_upper AS test_likely_upper, t.days_since_health,
           r.chance * ($unplanned_failure - p.planned_cost)
             - p.cost_per_day * $horizon_days * (1 - r.chance / 2) AS saving,
           p.cost_per_day * $horizon_days
             / ($unplanned_failure - p.planned_cost + p.cost_per_day * $horizon_days / 2) AS pays_from
    FROM battery_risk r
    JOIN replacement_policy p ON p.chemistry = COALESCE(r.chemistry, 'not known')
    LEFT JOIN test_value t ON t.vin = r.vin AND t.position = r.position
),
tested AS (
    SELECT *,
           ROW_NUMBER() OVER (
               PARTITION BY depot ORDER BY test_value DESC NULLS LAST, rank
           ) AS test_place
    FROM valued
)
SELECT * EXCEPT (test_place),
       CASE WHEN failed_on IS NOT NULL THEN 'must'
            WHEN test_value > 0 AND test_place <= $tests_per_week THEN 'test first'
            WHEN saving > 0 THEN 'this week'
            WHEN chance >= $nearly_pays * pays_from THEN 'next service'
            ELSE 'leave' END AS wanted
FROM tested
