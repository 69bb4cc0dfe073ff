-- One row is a battery that a report wanted seen to that week, over the days the report spoke of.
-- Reads what the reports of separate weeks said whose days are over, lives and charged tests. It was seen to on the day it was
-- replaced without having failed or, where it was to be tested first, tested. seen_to_days, failed_days and
-- left_days count from the report to the battery's first end of each kind, none where that did not come
-- within the horizon. place_failed also counts a battery that came in its place.
WITH told AS (
    SELECT r.*, ROW_NUMBER() OVER (PARTITION BY r.week, r.vin, r.position ORDER BY r.as_of DESC, r.load_id DESC) AS recency
    FROM risk_week r
    JOIN separate_week s ON s.week = r.week
),
followed AS (
    SELECT t.week, t.as_of AS told_on, t.vin, t.position, l.battery_no, l.chemistry, t.action, t.chance, t.horizon_days,
           l.outcome, days_between(t.as_of, l.exited_on) AS end_days
    FROM told t
    JOIN battery_life l ON l.vin = t.vin AND l.position = t.position
     AND l.installed_on <= t.as_of AND l.exited_on > t.as_of
    LEFT JOIN told_in_doubt d ON d.load_id = t.load_id AND d.vin = t.vin AND d.position = t.position
    WHERE t.recency = 1 AND t.action IN ('this week', 'test first') AND t.chance < 1 AND d.vin IS NULL
),
tested AS (
    SELECT f.week, f.vin, f.position, MIN(days_between(f.told_on, c.tested_on)) AS tested_days
    FROM followed f
    JOIN battery_condition c ON c.vin = f.vin AND c.position = f.position AND c.battery_no = f.battery_no
     AND c.tested_on > f.told_on AND c.health IS NOT NULL
    WHERE f.action = 'test first'
    GROUP BY f.week, f.vin, f.position
),
failures AS (
    SELECT f.week, f.vin, f.position
    FROM followed f
    JOIN battery_life l ON l.vin = f.vin AND l.position = f.position AND l.failed AND l.exited_on > f.told_on
     AND days_between(f.told_on, l.exited_on) <= f.horizon_days
    GROUP BY f.week, f.vin, f.position
),
timed AS (
    SELECT f.*, e.vin IS NOT NULL AS place_failed,
           CASE WHEN f.outcome = 'failed' AND f.end_days <= f.horizon_days THEN f.end_days END AS failed_days,
           CASE WHEN f.outcome IN ('left fleet', 'not heard of') AND f.end_days <= f.horizon_days THEN f.end_days END AS left_days,
           CASE WHEN f.outcome = 'preventive' AND f.end_days <= f.horizon_days THEN f.end_days END AS replaced_days,
           CASE WHEN t.tested_days <= f.horizon_days THEN t.tested_days END AS tested_days
    FROM followed f
    LEFT JOIN tested t ON t.week = f.week AND t.vin = f.vin AND t.position = f.position
    LEFT JOIN failures e ON e.week = f.week AND e.vin = f.vin AND e.position = f.position
)
SELECT week, told_on, vin, position, battery_no, chemistry, action, chance, horizon_days, replaced_days, tested_days,
       -- A test on the day it failed was made because it had failed.
       CASE WHEN tested_days < COALESCE(replaced_days, failed_days, tested_days + 1) THEN tested_days ELSE replaced_days END AS seen_to_days,
       failed_days, left_days, place_failed
FROM timed
