-- One row is a battery: when it went in, when it came under observation, when and how it ended.
-- Reads batteries in place, what they are, how they ended, and the watch kept over vehicles. What counts as a failure is defined in
-- battery_end; doubtful ones count unless $count_doubtful is false. A replacement that is no failure is
-- preventive: a competing end, not a survival. Entry is late (left truncation) where the battery was
-- in before work orders were kept. A battery of a vehicle not heard of any more was last under watch on the day the
-- vehicle was last heard of.
WITH ended AS (
    SELECT s.*, v.depot, v.make, v.model, v.model_year, v.powertrain, b.chemistry, b.chemistry_from, b.battery_group,
           b.rating_value, b.rating_standard, b.rating_from, p.place_known_by,
           v.unit_no, v.gone_on, v.not_heard_of,
           CASE WHEN $count_doubtful OR e.certainty <> 'doubtful' THEN e.failed_on END AS failed_on,
           e.certainty, e.end_evidence,
           GREATEST(s.installed_on, COALESCE(w.watched_from, s.installed_on), COALESCE(v.joined_fleet_date, s.installed_on)) AS entered_on
    FROM battery_span s
    JOIN fleet_vehicle v ON v.vin = s.vin
    JOIN battery_place p ON p.vin = s.vin AND p.position = s.position
    LEFT JOIN vehicle_watch w ON w.vin = s.vin
    LEFT JOIN battery_label b ON b.vin = s.vin AND b.position = s.position AND b.battery_no = s.battery_no
    LEFT JOIN battery_end e ON e.vin = s.vin AND e.position = s.position AND e.battery_no = s.battery_no
)
SELECT vin, position, place_known_by, battery_no, unit_no, depot, make, model, model_year, powertrain, chemistry,
       chemistry_from, battery_group, rating_value, rating_standard, rating_from, source, installed_on, evidence,
       uncertainty_days, fitted_at, entered_on, failed_on, certainty, end_evidence, replaced_on, replaced_at, replaced_by_order,
       gone_on,
       outcome, exited_on,
       outcome = 'failed' AS failed,
       replaced_on IS NULL AND gone_on IS NULL AS in_service,
       CAST(days_between(installed_on, entered_on) AS DOUBLE) AS entry_age_days,
       CAST(days_between(installed_on, exited_on) AS DOUBLE) AS exit_age_days
FROM (
    SELECT *,
           CASE WHEN failed_on IS NOT NULL THEN 'failed'
                WHEN replaced_on IS NOT NULL THEN 'preventive'
                WHEN not_heard_of THEN 'not heard of'
                WHEN gone_on IS NOT NULL THEN 'left fleet'
                ELSE 'in service' END AS outcome,
           CAST(COALESCE(failed_on, replaced_on, gone_on, $as_of) AS DATE) AS exited_on
    FROM ended
)
