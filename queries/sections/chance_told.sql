-- One row is a band of chances that reports told: how many batteries were told one like it, and how many
-- of them failed.
-- Reads what the runs said of separate weeks whose horizon is over, and the lives of the batteries, so that no
-- failure counts twice. A battery replaced or
-- gone within the horizon is left out, and one that may have failed already; bands of fewer than ten batteries are too.
WITH told AS (
    SELECT r.chance, l.failed AND days_between(r.as_of, l.exited_on) <= r.horizon_days AS failed_then,
           ROW_NUMBER() OVER (PARTITION BY r.week, r.vin, r.position ORDER BY r.as_of DESC, r.load_id DESC) AS recency
    FROM risk_week r
    JOIN separate_week s ON s.week = r.week
    JOIN battery_life l ON l.vin = r.vin AND l.position = r.position
     AND l.installed_on <= r.as_of AND l.exited_on > r.as_of
    LEFT JOIN told_in_doubt d ON d.load_id = r.load_id AND d.vin = r.vin AND d.position = r.position
    WHERE days_between(r.as_of, $as_of) >= r.horizon_days AND d.vin IS NULL
      AND (l.failed OR days_between(r.as_of, l.exited_on) >= r.horizon_days)
)
SELECT CASE WHEN chance < 0.005 THEN 0 WHEN chance < 0.01 THEN 1 WHEN chance < 0.02 THEN 2
            WHEN chance < 0.05 THEN 3 WHEN chance < 0.1 THEN 4 WHEN chance < 0.2 THEN 5 ELSE 6 END AS band,
       AVG(chance) AS told, COUNT(*) AS batteries,
       SUM(CASE WHEN failed_then THEN 1 ELSE 0 END) AS failed
FROM told WHERE recency = 1
GROUP BY 1 HAVING COUNT(*) >= 10
