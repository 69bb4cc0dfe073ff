-- One row is a weekly run as it was told: the failures it expected and those that came.
-- Reads what the runs said and the batteries' lives as known now. A battery that had failed already
-- when the run spoke is left out. Expected are the chances turned into a rate and counted only over
-- the days the battery was in sight, so runs whose horizon is not over, and batteries replaced or
-- gone in the meantime, count for what was seen of them. So is one whose call stood open, which may have failed already. What came may be counted together over the weeks that are
-- separate: others share days, and so failures.
WITH told AS (
    SELECT *,
           ROW_NUMBER() OVER (PARTITION BY week, vin, position ORDER BY as_of DESC, load_id DESC) AS recency
    FROM risk_week
),
followed AS (
    SELECT r.week, r.model_version, r.as_of, r.horizon_days, r.chance, r.rank, r.action,
           LEAST(days_between(r.as_of, l.exited_on), r.horizon_days) AS seen_days,
           l.failed AND days_between(r.as_of, l.exited_on) <= r.horizon_days AS failed_then
    FROM told r
    JOIN battery_life l ON l.vin = r.vin AND l.position = r.position
     AND l.installed_on <= r.as_of AND l.exited_on > r.as_of
    LEFT JOIN told_in_doubt d ON d.load_id = r.load_id AND d.vin = r.vin AND d.position = r.position
    WHERE r.recency = 1 AND r.chance < 1 AND d.vin IS NULL
)
SELECT f.week, model_version, BOOL_OR(s.week IS NOT NULL) AS is_separate, MAX(as_of) AS told_on, MAX(horizon_days) AS horizon_days,
       days_between(MAX(as_of), $as_of) >= MAX(horizon_days) AS horizon_over,
       COUNT(*) AS told,
       SUM(-LN(1 - LEAST(chance, 0.999999)) * seen_days / horizon_days) AS expected,
       COALESCE(SUM(CASE WHEN rank <= 20 THEN -LN(1 - LEAST(chance, 0.999999)) * seen_days / horizon_days END), 0) AS expected_in_first_20,
       SUM(CASE WHEN failed_then THEN 1 ELSE 0 END) AS failed,
       SUM(CASE WHEN failed_then AND rank <= 20 THEN 1 ELSE 0 END) AS failed_in_first_20,
       SUM(CASE WHEN failed_then AND rank <= 50 THEN 1 ELSE 0 END) AS failed_in_first_50,
       SUM(CASE WHEN failed_then AND action IN ('this week', 'test first') THEN 1 ELSE 0 END) AS failed_of_those_to_act_on
FROM followed f
LEFT JOIN separate_week s ON s.week = f.week
GROUP BY f.week, model_version
