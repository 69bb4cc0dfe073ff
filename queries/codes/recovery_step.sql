-- One row is a recovery that stands open: its next step, and what the weekly plan does to the vehicle.
-- Reads recovery_case and replacement_plan. A recovery asks what was behind the trouble, the plan what
-- a battery will do: where the plan replaces or tests a battery of the vehicle, planned is its soonest
-- action and planned_for the positions it is for, so that one vehicle is not told two things. codes_kept says whether the codes were saved or cleared already.
WITH planned AS (
    SELECT vin, action, position,
           DENSE_RANK() OVER (PARTITION BY vin ORDER BY CASE action WHEN 'this week' THEN 0 WHEN 'test first' THEN 1 WHEN 'a later week' THEN 2 ELSE 3 END) AS turn
    FROM replacement_plan
    WHERE action <> 'leave'
),
soonest AS (
    SELECT vin, action,
           ARRAY_AGG(position ORDER BY CASE WHEN position = 'main' THEN 0 ELSE 1 END, position) AS positions
    FROM planned WHERE turn = 1
    GROUP BY vin, action
)
SELECT r.vin, r.case_no, r.opened_on, r.opened_by, r.days_standing, r.chemistry, r.cautions, r.next_step,
       r.codes_kept,
       p.action AS planned, p.positions AS planned_for
FROM recovery_case r
LEFT JOIN soonest p ON p.vin = r.vin
WHERE r.open
