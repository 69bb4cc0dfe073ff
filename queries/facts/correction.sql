-- One row is a fact that was corrected: the table, the vehicle or depot, the fact's day, which load had told it
-- first, which corrected it, and where that stands.
-- Reads the raw tables whole, since the views of them leave out what was corrected.
SELECT 'battery_test' AS table_name, was.vin AS subject, CAST(was.tested_at AS DATE) AS fact_on,
       was.load_id AS told_by, now.load_id AS corrected_by,
       now.from_file AS corrected_in_file, now.from_line AS corrected_in_line
FROM lake.battery_test now JOIN lake.battery_test was ON was.row_hash = now.corrects
UNION ALL
SELECT 'code_scan', was.vin, CAST(was.scanned_at AS DATE), was.load_id, now.load_id, now.from_file, now.from_line
FROM lake.code_scan now JOIN lake.code_scan was ON was.row_hash = now.corrects
UNION ALL
SELECT 'trouble_code', was.vin, CAST(was.scanned_at AS DATE), was.load_id, now.load_id, now.from_file, now.from_line
FROM lake.trouble_code now JOIN lake.trouble_code was ON was.row_hash = now.corrects
UNION ALL
SELECT 'work_order', was.vin, CAST(was.opened_at AS DATE), was.load_id, now.load_id, now.from_file, now.from_line
FROM lake.work_order now JOIN lake.work_order was ON was.row_hash = now.corrects
UNION ALL
SELECT 'vehicle', was.vin, was.seen_on, was.load_id, now.load_id, now.from_file, now.from_line
FROM lake.vehicle now JOIN lake.vehicle was ON was.row_hash = now.corrects
UNION ALL
SELECT 'depot_weather', was.depot, was.day, was.load_id, now.load_id, now.from_file, now.from_line
FROM lake.depot_weather now JOIN lake.depot_weather was ON was.row_hash = now.corrects
