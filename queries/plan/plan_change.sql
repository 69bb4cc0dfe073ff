-- One row is a battery whose place in the plan is not what the last weekly run said.
-- Reads the plan and what earlier runs said. Ignored is what was to be replaced three runs running and is
-- still in service, the same battery, and to be replaced again; done is what was to be replaced or tested and now is another battery or has a newer
-- test; new is what is to be replaced for the first time; moved is any other change of action.
WITH runs AS (
    SELECT week, DENSE_RANK() OVER (ORDER BY week DESC) AS weeks_ago
    FROM (SELECT DISTINCT week FROM risk_week WHERE week < iso_week($as_of))
),
told AS (
    SELECT r.vin, r.position, r.as_of, r.rank, r.action, w.weeks_ago,
           ROW_NUMBER() OVER (PARTITION BY r.week, r.vin, r.position ORDER BY r.as_of DESC, r.load_id DESC) AS recency
    FROM risk_week r JOIN runs w ON w.week = r.week
    WHERE w.weeks_ago <= 3
),
last_told AS (SELECT * FROM told WHERE weeks_ago = 1 AND recency = 1),
often AS (
    SELECT t.vin, t.position, SUM(CASE WHEN t.action = 'this week' THEN 1 ELSE 0 END) AS runs_told
    FROM told t
    JOIN replacement_plan p ON p.vin = t.vin AND p.position = t.position AND p.installed_on <= t.as_of
    WHERE t.recency = 1
    GROUP BY t.vin, t.position
),
compared AS (
    SELECT p.vin, p.position, p.unit_no, p.depot, p.rank, p.action,
           t.rank AS rank_before, t.action AS action_before, COALESCE(o.runs_told, 0) AS runs_told,
           CASE WHEN t.action = 'this week' AND p.installed_on > t.as_of THEN 'done'
                WHEN t.action = 'test first' AND p.tested_on > t.as_of THEN 'done'
                WHEN o.runs_told = 3 AND p.action = 'this week' THEN 'ignored'
                WHEN p.action = 'this week' AND COALESCE(t.action, 'leave') <> 'this week' THEN 'new'
                WHEN p.action <> t.action THEN 'moved' END AS change
    FROM replacement_plan p
    LEFT JOIN last_told t ON t.vin = p.vin AND t.position = p.position
    LEFT JOIN often o ON o.vin = p.vin AND o.position = p.position
    WHERE EXISTS (SELECT 1 FROM last_told)
)
SELECT * FROM compared WHERE change IS NOT NULL
