-- One row is a piece of evidence about what caused a flood: for which cause it speaks, in words, and
-- with what weight.
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
    SELECT vin, session_no, 'supply' AS cause, LEAST(3.0, 1.0 + 6.0 * supply_share) AS weight,
           CAST(supply_codes AS VARCHAR) || ' of ' || CAST(codes AS VARCHAR) || ' codes say low voltage' AS evidence
    FROM flood WHERE supply_codes >= 1
    UNION ALL
    SELECT vin, session_no, 'supply', 1.0,
           'lost communication named ' || CAST(lost_targets AS VARCHAR) || ' different modules'
    FROM flood WHERE lost_targets >= 4 AND supply_codes >= 1 AND one_target_share < 0.5
    UNION ALL
    SELECT vin, session_no, 'supply', 2.0,
           'the supply stood at ' || CAST(ROUND(supply_voltage_v, 1) AS VARCHAR) || ' V during the scan'
    FROM flood WHERE supply_voltage_v < 11.8
    UNION ALL
    SELECT f.vin, f.session_no, 'supply', 1.0, 'a test nearby found the battery ' || MIN(t.verdict)
    FROM flood f
    JOIN test_verdict t ON t.vin = f.vin AND t.verdict IN ('discharged', 'worn', 'failed')
     AND days_between(f.started_on, t.tested_on) BETWEEN -$flood_evidence_days AND $flood_evidence_days
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'supply', 1.0, 'the vehicle did not start by itself nearby'
    FROM work WHERE operation IN ('no-start call', 'jump start', 'tow')
    GROUP BY vin, session_no
    UNION ALL
    SELECT vin, session_no, 'supply', 0.5, 'the battery was charged or replaced nearby'
    FROM work WHERE operation IN ('battery charged', 'battery replaced')
    GROUP BY vin, session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'supply', 0.5,
           'the battery was ' || CAST(ROUND(MAX(days_between(l.installed_on, f.started_on)) / 365.25, 1) AS VARCHAR) || ' years old'
    FROM flood f
    JOIN battery_life l ON l.vin = f.vin AND l.installed_on < f.started_on
     AND (l.replaced_on IS NULL OR l.replaced_on >= f.started_on)
     AND days_between(l.installed_on, f.started_on) > 0.8 * 30.4375 * $battery_life_months
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'network', 3.0,
           CAST(lost_to_one AS VARCHAR) || ' modules miss the same one'
    FROM flood WHERE lost_to_one >= 3 AND one_target_share >= 0.6
    UNION ALL
    SELECT vin, session_no, 'network', 3.0, CAST(bus_codes AS VARCHAR) || ' modules say their bus is down'
    FROM flood WHERE bus_codes >= 2
    UNION ALL
    SELECT vin, session_no, 'network', 0.5, 'no module says low voltage'
    FROM flood WHERE supply_codes = 0 AND lost_share >= 0.4
    UNION ALL
    SELECT vin, session_no, 'network', 1.5,
           CAST(lost_codes AS VARCHAR) || ' of ' || CAST(codes AS VARCHAR) || ' codes say lost communication, though nearly all modules answered'
    FROM flood
    WHERE lost_share >= 0.8 AND COALESCE(share_answered, 1) > 0.65 AND COALESCE(one_target_share, 0) < 0.6
    UNION ALL
    SELECT vin, session_no, 'network', 1.0,
           CAST(failing_codes AS VARCHAR) || ' of ' || CAST(codes AS VARCHAR) || ' faults were there during the scan'
    FROM flood WHERE failing_share >= 0.5
    UNION ALL
    SELECT vin, session_no, 'network', 0.5, 'an order nearby was put down to a module or the network'
    FROM work WHERE cause IN ('module', 'network') AND days_after >= -1
    GROUP BY vin, session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'reprogramming', 4.0, 'a module was reprogrammed on the same visit'
    FROM flood f
    JOIN work w ON w.vin = f.vin AND w.session_no = f.session_no AND w.operation = 'module reprogrammed'
     AND w.opened_at <= f.ended_at AND COALESCE(w.closed_at, w.opened_at) >= f.started_at
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT f.vin, f.session_no, 'reprogramming', 2.0, 'a module was reprogrammed in the days before'
    FROM flood f
    JOIN work w ON w.vin = f.vin AND w.session_no = f.session_no AND w.operation = 'module reprogrammed'
     AND COALESCE(w.closed_at, w.opened_at) < f.started_at
    GROUP BY f.vin, f.session_no
    UNION ALL
    SELECT vin, session_no, 'reprogramming', 4.0, 'a module says it is not set up'
    FROM flood WHERE setup_codes >= 1
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 3.0,
           'only ' || CAST(ROUND(100 * share_answered) AS VARCHAR) || ' % of the modules asked answered'
    FROM flood WHERE share_answered <= 0.65
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 1.5, 'every code was pending, none confirmed'
    FROM flood WHERE pending_share >= 0.9
    UNION ALL
    SELECT vin, session_no, 'scan artefact', 1.5, 'a further scan showed next to nothing of it, with no clear between'
    FROM flood WHERE gone_by_itself
    UNION ALL
    SELECT vin, session_no, 'unexplained', 2.0,
           CAST(ROUND(100 * other_share) AS VARCHAR) || ' % of the codes have to do with neither supply nor network'
    FROM flood WHERE other_share >= 0.6
    UNION ALL
    SELECT vin, session_no, 'unexplained', 1.5, 'nothing speaks clearly for another cause'
    FROM flood
)
SELECT vin, session_no, cause, CAST(weight AS DOUBLE) AS weight, evidence FROM evidence
