-- One row is a raw table: how many rows it has and from which day to which.
-- Reads the raw tables as known on the day looked back from; quarantine and the load log are whole.
SELECT 'vehicle' AS table_name, COUNT(*) AS rows, MIN(seen_on) AS first_day, MAX(seen_on) AS last_day FROM vehicle
UNION ALL SELECT 'battery_test', COUNT(*), CAST(MIN(tested_at) AS DATE), CAST(MAX(tested_at) AS DATE) FROM battery_test
UNION ALL SELECT 'code_scan', COUNT(*), CAST(MIN(scanned_at) AS DATE), CAST(MAX(scanned_at) AS DATE) FROM code_scan
UNION ALL SELECT 'trouble_code', COUNT(*), CAST(MIN(scanned_at) AS DATE), CAST(MAX(scanned_at) AS DATE) FROM trouble_code
UNION ALL SELECT 'work_order', COUNT(*), CAST(MIN(opened_at) AS DATE), CAST(MAX(opened_at) AS DATE) FROM work_order
UNION ALL SELECT 'depot_weather', COUNT(*), MIN(day), MAX(day) FROM depot_weather
UNION ALL SELECT 'quarantine', COUNT(*), CAST(NULL AS DATE), CAST(NULL AS DATE) FROM quarantine
UNION ALL SELECT 'load_log', COUNT(*), CAST(MIN(loaded_at) AS DATE), CAST(MAX(loaded_at) AS DATE) FROM load_log
UNION ALL SELECT 'risk_week', COUNT(*), MIN(as_of), MAX(as_of) FROM risk_week
