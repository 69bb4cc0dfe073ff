-- One row is a battery: when it went in, when it came under observation, when and how it ended.
-- Reads installs, calls, tests and the register. THE definition of a battery failure stands here. A
-- battery has failed when
--   (1) a no-start, jump start or tow was put down to the 12 V supply and the battery was replaced
--       within $trouble_days of it; or that time is not over yet and no battery of the vehicle has been
--       replaced since; or
--   (2) it was replaced on a complaint put down to the supply, unless a test in the $same_trouble_days
--       before found it fit. (A dead battery often reads as discharged, or is not tested at all, so
--       asking for the verdict worn or failed would miss one failure in three.)
-- A call on the day a battery went in was of the one that came out. The failure day is the first such
-- call, else the replacement. A replacement without that is
-- preventive: a competing end, not a survival. Entry is late (left truncation) where the battery was
-- in before work orders were kept.
WITH observed_from AS (
    SELECT v.depot, COALESCE($observation_start, MIN(CAST(w.opened_at AS DATE))) AS observed_from
    FROM fleet_vehicle v JOIN work_order w ON w.vin = v.vin
    GROUP BY v.depot
),
spans AS (
    SELECT *,
           LEAD(installed_on) OVER one_place AS replaced_on,
           LEAD(fitted_at) OVER one_place AS replaced_at,
           LEAD(order_no) OVER one_place AS replaced_by_order,
           LEAD(on_complaint) OVER one_place AS replaced_on_complaint,
           ROW_NUMBER() OVER one_place AS battery_no
    FROM battery_install
    WINDOW one_place AS (PARTITION BY vin, position ORDER BY installed_on, evidence)
),
last_change AS (SELECT vin, MAX(installed_on) AS changed_on FROM battery_install GROUP BY vin),
calls AS (
    SELECT s.vin, s.position, s.battery_no, MIN(c.called_on) AS called_on
    FROM spans s
    JOIN battery_call c ON c.vin = s.vin AND c.position = s.position
     AND c.called_on > s.installed_on
     AND (s.replaced_on IS NULL OR c.called_on <= s.replaced_on)
     AND days_between(c.called_on, COALESCE(s.replaced_on, $as_of)) <= $trouble_days
    JOIN last_change n ON n.vin = s.vin AND (s.replaced_on IS NOT NULL OR n.changed_on <= c.called_on)
    GROUP BY s.vin, s.position, s.battery_no
),
found_fit AS (
    SELECT DISTINCT s.vin, s.position, s.battery_no
    FROM spans s
    JOIN test_verdict t ON t.vin = s.vin AND t.position = s.position AND t.verdict = 'fit'
     -- a test on the day itself may be of the new battery
     AND days_between(t.tested_on, s.replaced_on) BETWEEN 1 AND $same_trouble_days
    WHERE s.replaced_on_complaint
),
ended AS (
    SELECT s.*, v.depot, v.make, v.model, v.model_year, v.powertrain, v.chemistry, v.battery_group,
           v.rating_value, v.rating_standard, v.unit_no, v.left_fleet_date,
           COALESCE(c.called_on, CASE WHEN s.replaced_on_complaint AND b.vin IS NULL THEN s.replaced_on END) AS failed_on,
           GREATEST(s.installed_on, o.observed_from, COALESCE(v.joined_fleet_date, s.installed_on)) AS entered_on
    FROM spans s
    JOIN fleet_vehicle v ON v.vin = s.vin
    LEFT JOIN observed_from o ON o.depot = v.depot
    LEFT JOIN calls c ON c.vin = s.vin AND c.position = s.position AND c.battery_no = s.battery_no
    LEFT JOIN found_fit b ON b.vin = s.vin AND b.position = s.position AND b.battery_no = s.battery_no
)
SELECT vin, position, battery_no, unit_no, depot, make, model, model_year, powertrain, chemistry,
       battery_group, rating_value, rating_standard, source, installed_on, evidence,
       uncertainty_days, fitted_at, entered_on, failed_on, replaced_on, replaced_at, replaced_by_order,
       left_fleet_date,
       outcome, exited_on,
       outcome = 'failed' AS failed,
       replaced_on IS NULL AND left_fleet_date IS NULL AS in_service,
       CAST(days_between(installed_on, entered_on) AS DOUBLE) AS entry_age_days,
       CAST(days_between(installed_on, exited_on) AS DOUBLE) AS exit_age_days
FROM (
    SELECT *,
           CASE WHEN failed_on IS NOT NULL THEN 'failed'
                WHEN replaced_on IS NOT NULL THEN 'preventive'
                WHEN left_fleet_date IS NOT NULL THEN 'left fleet'
                ELSE 'in service' END AS outcome,
           CAST(COALESCE(failed_on, replaced_on, left_fleet_date, $as_of) AS DATE) AS exited_on
    FROM ended
)
