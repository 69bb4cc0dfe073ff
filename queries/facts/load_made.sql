-- One row is a load or a weekly run that wrote to the lake: when, from how many files, with how many rows.
-- Reads the load log and what the weekly runs said. A load's id ends with its instant; ids of runs of the first
-- release have none.
SELECT load_id, MAX(loaded_at) AS made_at, COUNT(*) AS files, MIN(file) AS first_file,
       SUM(rows_added) AS rows_added, SUM(rows_quarantined) AS rows_quarantined
FROM lake.load_log
GROUP BY load_id
UNION ALL
SELECT load_id, MAX(TRY_CAST(regexp_match(load_id, '[0-9]{4}-[0-9]{2}-[0-9]{2}T[^ ]*$')[1] AS TIMESTAMP)),
       0, MIN(week), COUNT(*), 0
FROM lake.risk_week
GROUP BY load_id
