-- One row is a battery that was replaced by order, or called for: whether that was a failure, how sure, and why.
-- Reads batteries in place, calls, reasons of replacements and tests. THE definition of a battery failure stands
-- here. It asks for evidence, and evidence can stand against it:
--   a call: a no-start, jump start or tow put down to the 12 V supply, with the battery replaced within
--     $trouble_days of it; or that time is not over yet and no battery of the vehicle has been replaced since;
--   a complaint: the battery was replaced on trouble put down to the supply, and no test in the
--     $same_trouble_days before found it fit. (A dead battery often reads as discharged, or is not tested at all, so
--     asking for the verdict worn or failed would miss one failure in three.)
--   Against it stand a fit test of the battery since the call, or as the last before a replacement without one;
--     an order that says it was planned, or that the trouble was the charging, unless the last test found it worn or failed.
-- A call on the day a battery went in was of the one that came out. It failed on the day of the first such call,
-- else of the replacement. It is certain where a call was followed by the replacement within $same_trouble_days or by a
-- test that found it worn or failed, or where such a test stands behind trouble in starting; doubtful
-- where a complaint of other trouble has no test behind it, or a fit test of the day itself that may be of the new
-- battery against it; likely in between.
WITH last_change AS (SELECT vin, MAX(installed_on) AS changed_on FROM battery_span GROUP BY vin),
calls AS (
    SELECT s.vin, s.position, s.battery_no, c.called_on
    FROM battery_span s
    JOIN battery_call c ON c.vin = s.vin AND c.position = s.position
     AND c.called_on > s.installed_on
     AND (s.replaced_on IS NULL OR c.called_on <= s.replaced_on)
     AND days_between(c.called_on, COALESCE(s.replaced_on, $as_of)) <= $trouble_days
    JOIN last_change n ON n.vin = s.vin AND (s.replaced_on IS NOT NULL OR n.changed_on <= c.called_on)
),
-- A test that finds fit on the day of a change, when no hour tells before from after, may be of the new battery.
tests AS (
    SELECT t.vin, t.position, t.battery_no, t.tested_on, t.tested_at, t.verdict,
           COALESCE(t.tested_on = s.replaced_on, FALSE) AND s.replaced_at IS NULL AND t.verdict = 'fit' AS maybe_of_the_next
    FROM battery_condition t
    JOIN battery_span s ON s.vin = t.vin AND s.position = t.position AND s.battery_no = t.battery_no
    WHERE t.verdict <> 'untested'
),
-- The last test within the days of the trouble before the end, or of those since a call.
last_test AS (
    SELECT s.vin, s.position, s.battery_no,
           LAST_VALUE(t.verdict ORDER BY t.tested_at) FILTER (WHERE NOT t.maybe_of_the_next) AS verdict,
           BOOL_OR(t.maybe_of_the_next) AS maybe_fit
    FROM battery_span s
    JOIN tests t ON t.vin = s.vin AND t.position = s.position AND t.battery_no = s.battery_no
     AND days_between(t.tested_on, s.replaced_on) BETWEEN 0 AND $same_trouble_days
    GROUP BY s.vin, s.position, s.battery_no
),
call_tested AS (
    SELECT c.vin, c.position, c.battery_no, c.called_on,
           LAST_VALUE(t.verdict ORDER BY t.tested_at) AS verdict
    FROM calls c
    JOIN tests t ON t.vin = c.vin AND t.position = c.position AND t.battery_no = c.battery_no
     AND t.tested_on >= c.called_on AND NOT t.maybe_of_the_next
    GROUP BY c.vin, c.position, c.battery_no, c.called_on
),
-- The first call that no fit test has answered.
called AS (
    SELECT c.vin, c.position, c.battery_no,
           MIN(CASE WHEN t.verdict IS DISTINCT FROM 'fit' THEN c.called_on END) AS called_on,
           BOOL_OR(COALESCE(t.verdict IN ('worn', 'failed'), FALSE)) AS found_bad
    FROM calls c
    LEFT JOIN call_tested t ON t.vin = c.vin AND t.position = c.position AND t.battery_no = c.battery_no
     AND t.called_on = c.called_on
    GROUP BY c.vin, c.position, c.battery_no
),
evidence AS (
    SELECT s.vin, s.position, s.battery_no, s.replaced_on, c.called_on, c.vin IS NOT NULL AS was_called,
           COALESCE(c.found_bad, FALSE) OR COALESCE(t.verdict IN ('worn', 'failed'), FALSE) AS found_bad,
           COALESCE(t.verdict = 'discharged', FALSE) AS found_discharged,
           COALESCE(t.verdict = 'fit', FALSE) AS found_fit,
           COALESCE(t.maybe_fit, FALSE) AS maybe_fit,
           COALESCE(r.says_starting, FALSE) AS says_starting,
           COALESCE(r.planned, FALSE) AS planned,
           COALESCE(r.charging_trouble, FALSE) AS charging_trouble,
           COALESCE(r.supply_complaint, FALSE) AS supply_complaint
    FROM battery_span s
    LEFT JOIN called c ON c.vin = s.vin AND c.position = s.position AND c.battery_no = s.battery_no
    LEFT JOIN last_test t ON t.vin = s.vin AND t.position = s.position AND t.battery_no = s.battery_no
    LEFT JOIN replacement_reason r ON r.vin = s.vin AND r.position = s.position AND r.changed_on = s.replaced_on
     AND s.replaced_evidence = 'work order'
    WHERE c.vin IS NOT NULL OR r.vin IS NOT NULL
),
settled AS (
    SELECT *,
           CASE WHEN charging_trouble AND NOT found_bad THEN 'charging trouble'
                WHEN planned AND NOT (found_bad AND called_on IS NOT NULL) THEN 'planned'
                WHEN called_on IS NOT NULL AND replaced_on IS NOT NULL THEN 'called for, then replaced'
                WHEN called_on IS NOT NULL THEN 'called for, not replaced yet'
                WHEN found_fit OR (was_called AND replaced_on IS NULL) THEN 'found fit'
                WHEN NOT supply_complaint THEN 'no complaint of the supply'
                WHEN found_bad THEN 'complaint, found worn or failed'
                WHEN found_discharged THEN 'complaint, found discharged'
                ELSE 'complaint, not tested' END AS evidence
    FROM evidence
)
SELECT vin, position, battery_no, evidence AS end_evidence,
       CASE evidence
           WHEN 'called for, then replaced' THEN called_on
           WHEN 'called for, not replaced yet' THEN called_on
           WHEN 'complaint, found worn or failed' THEN replaced_on
           WHEN 'complaint, found discharged' THEN replaced_on
           WHEN 'complaint, not tested' THEN replaced_on END AS failed_on,
       CASE evidence
           WHEN 'called for, then replaced'
           THEN CASE WHEN found_bad OR days_between(called_on, replaced_on) <= $same_trouble_days
                     THEN 'certain' ELSE 'likely' END
           WHEN 'called for, not replaced yet' THEN CASE WHEN found_bad THEN 'certain' ELSE 'likely' END
           WHEN 'complaint, found worn or failed' THEN CASE WHEN says_starting THEN 'certain' ELSE 'likely' END
           WHEN 'complaint, found discharged' THEN 'likely'
           WHEN 'complaint, not tested'
           THEN CASE WHEN says_starting AND NOT maybe_fit THEN 'likely' ELSE 'doubtful' END END AS certainty
FROM settled
