-- One row is a recovery that stands open: its next step, and the one that allows for the weekly plan.
-- Reads recovery_case and replacement_plan. A recovery asks what was behind the trouble, the plan what
-- a battery will do: where the plan replaces or tests a battery of the vehicle, next_step says so and
-- what remains to be done besides, so that one vehicle is not told two things. What the replacement
-- does away with (charging, testing) is left out. step is the recovery's own, step_no its place.
WITH planned AS (
    SELECT vin, action, position, saving > 0 AS pays,
           DENSE_RANK() OVER (PARTITION BY vin ORDER BY CASE action WHEN 'this week' THEN 0 WHEN 'test first' THEN 1 ELSE 2 END) AS turn
    FROM replacement_plan
    WHERE action <> 'leave'
),
soonest AS (
    SELECT vin, action, BOOL_OR(pays) AS pays,
           'the ' || STRING_AGG(position, ' and the ' ORDER BY CASE WHEN position = 'main' THEN 0 ELSE 1 END, position) || ' battery' AS batteries
    FROM planned WHERE turn = 1
    GROUP BY vin, action
)
SELECT r.vin, r.case_no, r.opened_on, r.opened_by, r.days_standing, r.caution,
       r.step_no, r.next_step AS step,
       p.action AS planned, p.batteries AS planned_for,
       CASE WHEN p.action = 'this week' AND r.step_no <= 2 AND r.codes_saved_on IS NULL AND r.codes_cleared_on IS NULL
            THEN 'save the codes of every module, then replace ' || p.batteries || ' this week, as planned'
            WHEN p.action = 'this week' AND r.step_no <= 2 THEN 'replace ' || p.batteries || ' this week, as planned'
            WHEN p.action = 'this week' AND r.step_no = 3
            THEN 'replace ' || p.batteries || ' this week, as planned; a test since the trouble said fit, so check the charging and what draws current at rest too'
            WHEN p.action = 'this week' AND r.step_no = 4
            THEN r.next_step || ', then replace ' || p.batteries || ' this week, as planned'
            WHEN p.action = 'this week' THEN 'replace ' || p.batteries || ' this week, as planned; ' || r.next_step
            WHEN p.action = 'test first' AND r.step_no = 1 THEN 'charge ' || p.batteries || ' fully and test it, as planned'
            WHEN p.action = 'test first' THEN 'test ' || p.batteries || ' first, as planned; ' || r.next_step
            WHEN p.action = 'a later week' THEN r.next_step || '; the plan sees to ' || p.batteries || ' in a coming week'
            WHEN p.action = 'next service' THEN r.next_step || '; the plan sees to ' || p.batteries || ' at the next service'
            ELSE r.next_step END AS next_step
FROM recovery_case r
LEFT JOIN soonest p ON p.vin = r.vin
WHERE r.open
