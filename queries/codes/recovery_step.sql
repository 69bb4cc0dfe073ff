-- One row is a recovery that stands open: its next step, and what the weekly plan does to the vehicle.
-- Reads recovery_case and replacement_plan. A recovery asks what was behind the trouble, the plan what
-- a battery will do: where the plan replaces or tests a battery of the vehicle, planned is its soonest
-- action, planned_for the positions it is for and planned_pays whether it pays now, so that one vehicle
-- is not told two things. codes_kept says whether the codes were saved or cleared already.
WITH planned AS (
    SELECT vin, action, position, saving > 0 AS pays,
           DENSE_RANK() OVER (PARTITION BY vin ORDER BY CASE action WHEN 'this week' THEN 0 WHEN 'test first' THEN 1 ELSE 2 END) AS turn
    FROM replacement_plan
    WHERE action <> 'leave'
),
soonest AS (
    SELECT vin, action, BOOL_OR(pays) AS pays,
           ARRAY_AGG(position ORDER BY CASE WHEN position = 'main' THEN 0 ELSE 1 END, position) AS positions
    FROM planned WHERE turn = 1
    GROUP BY vin, action
)
SELECT r.vin, r.case_no, r.opened_on, r.opened_by, r.days_standing, r.chemistry, r.cautions, r.next_step,
       r.codes_saved_on IS NOT NULL OR r.codes_cleared_on IS NOT NULL AS codes_kept,
       p.action AS planned, p.positions AS planned_for, p.pays AS planned_pays
FROM recovery_case r
LEFT JOIN soonest p ON p.vin = r.vin
WHERE r.open
