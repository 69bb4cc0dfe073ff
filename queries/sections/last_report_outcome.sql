-- One row is an action that the last report told batteries: what became of them since.
-- Reads what the last run said, lives, tests and the plan as known now. The last run is that of the
-- newest day before this week, as it was told last. Each battery has one end: failed, replaced without
-- that, left (the fleet, or the records), or still in service.
WITH last_run AS (
    SELECT MAX(as_of) AS as_of FROM risk_week
    WHERE as_of < CAST(date_trunc('week', CAST($as_of AS TIMESTAMP)) AS DATE)
),
told AS (
    SELECT r.*, ROW_NUMBER() OVER (PARTITION BY r.vin, r.position ORDER BY r.load_id DESC) AS recency
    FROM risk_week r JOIN last_run l ON l.as_of = r.as_of
)
SELECT t.week, t.as_of, t.action, COUNT(*) AS told,
       SUM(CASE WHEN l.failed_on > t.as_of THEN 1 ELSE 0 END) AS failed_since,
       SUM(CASE WHEN l.failed_on > t.as_of THEN 0 WHEN l.replaced_on IS NOT NULL THEN 1 ELSE 0 END) AS replaced_since,
       SUM(CASE WHEN l.failed_on > t.as_of OR l.replaced_on IS NOT NULL THEN 0
                WHEN l.vin IS NULL OR l.gone_on IS NOT NULL THEN 1 ELSE 0 END) AS left_since,
       SUM(CASE WHEN l.failed_on > t.as_of OR l.replaced_on IS NOT NULL THEN 0
                WHEN l.vin IS NULL OR l.gone_on IS NOT NULL THEN 0 ELSE 1 END) AS still_in_service,
       SUM(CASE WHEN c.tested_on IS NOT NULL THEN 1 ELSE 0 END) AS tested_since,
       SUM(CASE WHEN p.action = 'this week' THEN 1 ELSE 0 END) AS now_this_week
FROM told t
LEFT JOIN battery_life l ON l.vin = t.vin AND l.position = t.position
 AND l.installed_on <= t.as_of AND (l.replaced_on IS NULL OR l.replaced_on > t.as_of)
LEFT JOIN (SELECT vin, position, battery_no, MAX(tested_on) AS tested_on FROM battery_condition
           GROUP BY vin, position, battery_no) c
  ON c.vin = l.vin AND c.position = l.position AND c.battery_no = l.battery_no AND c.tested_on > t.as_of
LEFT JOIN replacement_plan p ON p.vin = l.vin AND p.position = l.position AND p.battery_no = l.battery_no
WHERE t.recency = 1
GROUP BY t.week, t.as_of, t.action
