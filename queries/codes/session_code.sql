-- One row is a code that a module showed in a session, however many of its scans showed it.
-- Reads scans and codes. The group is by the trade's ranges and the lake's code_groups.toml. About a
-- bus rather than one module are U00xx (SAE J2012) and SPN 639, 1231 and 1235 (SAE J1939-71); a
-- module that was changed and not set up yet says so by U03xx, U3000 or failure modes 13 and 14.
SELECT n.vin, n.session_no, c.module_address, c.code,
       MIN(code_group(c.code, c.failure_type, v.make)) AS code_group,
       regexp_like(c.code, '^(U00|SPN(639|1231|1235)/)') AS about_bus,
       regexp_like(c.code, '^(U03|U3000|SPN(628|629|630|631)/FMI1[34]$)') AS about_setup,
       BOOL_AND(COALESCE(c.pending, false) AND NOT COALESCE(c.confirmed, false)) AS only_pending,
       BOOL_OR(COALESCE(c.status_byte, 0) & 1 = 1) AS failing_now
FROM trouble_code c
JOIN scan_session n ON n.scan_id = c.scan_id AND n.vin = c.vin AND n.scanned_at = c.scanned_at
LEFT JOIN fleet_vehicle v ON v.vin = c.vin
GROUP BY n.vin, n.session_no, c.module_address, c.code
