-- One row is a kind of battery that a depot will need in a month of the coming 13 weeks.
-- Reads week_need and the prices. planned are replacements the plan asks for, failing are failures on the
-- road while it is kept; batteries is both, with 95 % limits of a sum of chances that go apart (normal law
-- about the sum of p (1 - p), not below nought): that the level of all chances may be off is not in them.
-- budget is what these cost, each failure at its full price; the first and the last month may be begun or
-- cut off. What a replacement costs is the same in every heat.
WITH needed AS (
    SELECT n.depot, n.battery_group, n.chemistry, DATE_TRUNC('month', n.week_on) AS month,
           n.planned, n.failing, p.planned_cost
    FROM week_need n
    JOIN replacement_policy p ON p.chemistry = COALESCE(n.chemistry, 'not known') AND p.heat_band = 'not known'
),
summed AS (
    SELECT depot, battery_group, chemistry, month,
           SUM(planned) AS planned, SUM(failing) AS failing, SUM(planned + failing) AS batteries,
           SUM(planned * (1 - planned) + failing * (1 - failing)) AS variance,
           SUM(planned * planned_cost + failing * $unplanned_failure) AS budget
    FROM needed
    GROUP BY depot, battery_group, chemistry, month
)
SELECT depot, battery_group, chemistry, CAST(month AS DATE) AS month, planned, failing, batteries,
       GREATEST(0.0, batteries - 1.959964 * SQRT(variance)) AS batteries_lower,
       batteries + 1.959964 * SQRT(variance) AS batteries_upper,
       budget
FROM summed
