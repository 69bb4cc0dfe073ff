-- One row is a piece of evidence about what caused a flood: the sign (FloodSign), for which cause it
-- speaks, with what weight, and the sign's value, where it has one.
-- A value counts codes or modules, or is in volts, days or a share, as FloodSign says.
-- Reads floods found, tests, orders and battery lives around them. Weights add up by cause; they are
-- set by judgement, common practice, no source. 1 is a hint, 3 nearly settles it.
WITH flood AS (
    SELECT *, CAST(started_at AS DATE) AS started_on,
           CAST(supply_codes AS DOUBLE) / codes AS supply_share,
           CAST(lost_codes AS DOUBLE) / codes AS lost_share,
           CAST(pending_codes AS DOUBLE) / codes AS pending_share,
           CAST(failing_codes AS DOUBLE) / codes AS failing_share,
           CAST(codes - supply_codes - lost_codes - implausible_codes AS DOUBLE) / codes AS other_share,
           CAST(lost_to_one AS DOUBLE) / NULLIF(lost_codes - bus_codes, 0) AS one_target_share
    FROM flood_found
),
work AS (
    SELECT f.vin, f.session_no, w.operation, w.cause, w.opened_at, w.closed_at,
           days_between(f.started_on, CAST(w.opened_at AS DATE)) AS days_after
    FROM flood f
    JOIN work_order w ON w.vin = f.vin
     AND days_between(f.started_on, CAST(w.opened_at AS DATE)) BETWEEN -$flood_evidence_days AND $flood_evidence_days
),
evidence AS (
    SELECT vin, session_no, 'supply' AS cause, 'low-voltage codes' AS sign,
           LEAST(3.0, 1.0 + 6.0 * supply_share) AS weight, CAST(supply_codes AS DOUBLE) AS value
    FROM flood WHERE supply_codes >= 1
    UNION ALL
    SELECT vin, session_no, 'supply', 'many modules lost', 1.0, lost_targets
    FROM flood WHERE lost_targets >= 4 AND supply_codes >= 1 AND one_target_share < 0.5
    UNION ALL
    SELECT vin, session_no, 'supply', 'low supply', 2.0, supply_voltage_v
    FROM flood WHERE supply_voltage_v < 11.8
    UNION ALL
    SELECT f.vin, f.session_no, 'supply',
           CASE MIN(t.verdict) WHEN 'discharged' THEN 'tested discharged' WHEN 'worn' THEN 'tested worn'
                               ELSE 'tested failed' END, 1.0, NULL
    FROM flood f
    JOIN test_verdict t ON t.vin = f.vin AND t.verdict IN ('discharged', 'worn', 'failed')
     AND days_between(f.started_on, t.tested_on) BETWEEN -$flood_evidence_days AND $flood_evidence_days
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'supply', 'did not start', 1.0, NULL
    FROM work WHERE operation IN ('no-start call', 'jump start', 'tow')
    GROUP BY vin, session_no
    UNION ALL
    SELECT vin, session_no, 'supply', 'charged or replaced', 0.5, NULL
    FROM work WHERE operation IN ('battery charged', 'battery replaced')
    GROUP BY vin, session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'supply', 'old battery', 0.5, MAX(days_between(l.installed_on, f.started_on))
    FROM flood f
    JOIN battery_life l ON l.vin = f.vin AND l.installed_on < f.started_on
     AND (l.replaced_on IS NULL OR l.replaced_on >= f.started_on)
     AND days_between(l.installed_on, f.started_on) > 0.8 * 30.4375 * $battery_life_months
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'network', 'one module lost', 3.0, lost_to_one
    FROM flood WHERE lost_to_one >= 3 AND one_target_share >= 0.6
    UNION ALL
    SELECT vin, session_no, 'network', 'bus down', 3.0, bus_codes
    FROM flood WHERE bus_codes >= 2
    UNION ALL
    SELECT vin, session_no, 'network', 'no low-voltage code', 0.5, NULL
    FROM flood WHERE supply_codes = 0 AND lost_share >= 0.4
    UNION ALL
    SELECT vin, session_no, 'network', 'lost though answered', 1.5, lost_codes
    FROM flood
    WHERE lost_share >= 0.8 AND COALESCE(share_answered, 1) > 0.65 AND COALESCE(one_target_share, 0) < 0.6
    UNION ALL
    SELECT vin, session_no, 'network', 'failing now', 1.0, failing_codes
    FROM flood WHERE failing_share >= 0.5
    UNION ALL
    SELECT vin, session_no, 'network', 'put down to network', 0.5, NULL
    FROM work WHERE cause IN ('module', 'network') AND days_after >= -1
    GROUP BY vin, session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'reprogramming', 'reprogrammed then', 4.0, NULL
    FROM flood f
    JOIN work w ON w.vin = f.vin AND w.session_no = f.session_no AND w.operation = 'module reprogrammed'
     AND w.opened_at <= f.ended_at AND COALESCE(w.closed_at, w.opened_at) >= f.started_at
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'reprogramming', 'reprogrammed before', 2.0, NULL
    FROM flood f
    JOIN work w ON w.vin = f.vin AND w.session_no = f.session_no AND w.operation = 'module reprogrammed'
     AND COALESCE(w.closed_at, w.opened_at) < f.started_at
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'reprogramming', 'module not set up', 4.0, NULL
    FROM flood WHERE setup_codes >= 1
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 'few answered', 3.0, share_answered
    FROM flood WHERE share_answered <= 0.65
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 'only pending', 1.5, NULL
    FROM flood WHERE pending_share >= 0.9
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 'gone by itself', 1.5, NULL
    FROM flood WHERE gone_by_itself
    UNION ALL
    SELECT vin, session_no, 'unexplained', 'other codes', 2.0, other_share
    FROM flood WHERE other_share >= 0.6
    UNION ALL
    SELECT vin, session_no, 'unexplained', 'nothing clear', 1.5, NULL
    FROM flood
)
SELECT vin, session_no, cause, sign, CAST(weight AS DOUBLE) AS weight, CAST(value AS DOUBLE) AS value FROM evidence
