-- One row is a flood: a session with many distinct codes from many modules at once.
-- Reads sessions and work orders around them. The cause is the first that its evidence supports.
WITH reflashed AS (
    SELECT DISTINCT s.vin, s.session_no
    FROM code_session s
    JOIN work_order w ON w.vin = s.vin AND w.operation = 'module reprogrammed'
     AND days_between(CAST(w.opened_at AS DATE), CAST(s.started_at AS DATE)) BETWEEN -1 AND $flood_evidence_days
)
SELECT s.*,
       CASE WHEN r.vin IS NOT NULL THEN 'reprogramming'
            WHEN s.modules_answered < 0.6 * s.modules_asked AND s.supply_codes = 0 THEN 'scan artefact'
            WHEN s.lost_targets BETWEEN 1 AND 2 AND s.lost_codes >= 0.5 * s.codes THEN 'network'
            WHEN s.supply_codes + s.lost_codes >= 0.5 * s.codes
              OR s.supply_voltage_v < 11.5 THEN 'supply'
            ELSE 'unexplained' END AS cause
FROM code_session s
LEFT JOIN reflashed r ON r.vin = s.vin AND r.session_no = s.session_no
WHERE s.codes >= $flood_min_codes AND s.modules >= $flood_min_modules
