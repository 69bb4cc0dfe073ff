-- One row is 28 days of hand-overs, of all orders or of one shop, technician or operation: how many
-- came back. The thirteen last that were followed long enough, 1 the newest.
-- Reads comebacks. Months of one length, so that they can be held against each other. Limits of the
-- share are Wilson's. A technician's unit is the shop; all orders have no unit.
WITH followed AS (
    SELECT CAST((days_between(closed_on, $as_of) - $comeback_late_days) / 28 AS BIGINT) + 1 AS month_no,
           shop, technician, operation, return_cost, CASE WHEN came_back THEN 1 ELSE 0 END AS back
    FROM comeback
    WHERE followed
),
each AS (
    SELECT 'all orders' AS kind, CAST(NULL AS VARCHAR) AS unit, CAST(NULL AS VARCHAR) AS technician, month_no, back, return_cost
    FROM followed
    UNION ALL
    SELECT 'shop', shop, NULL, month_no, back, return_cost FROM followed
    UNION ALL
    SELECT 'technician', shop, technician, month_no, back, return_cost FROM followed WHERE technician IS NOT NULL
    UNION ALL
    SELECT 'operation', operation, NULL, month_no, back, return_cost FROM followed
),
counted AS (
    SELECT kind, unit, technician, month_no, COUNT(*) AS orders, SUM(back) AS comebacks, SUM(return_cost) AS return_cost
    FROM each WHERE month_no <= 13 GROUP BY kind, unit, technician, month_no
)
SELECT kind, unit, technician, month_no,
       day_plus($as_of, -$comeback_late_days - 28 * month_no + 1) AS from_on,
       day_plus($as_of, -$comeback_late_days - 28 * (month_no - 1)) AS to_on,
       orders, comebacks, return_cost, share['share'] AS share, share['lower'] AS share_lower, share['upper'] AS share_upper
FROM (SELECT *, share_limits(comebacks, orders) AS share FROM counted)
