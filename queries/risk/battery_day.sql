-- One row is a battery on a day that is looked back from: $as_of and every $row_weeks weeks before it, with
-- what became of it within the horizon (watched_days, failed_then).
-- Reads lives, tests, the register. A battery counts from the day its coming was on record, a date code from
-- the day it was read. Of rows without a failure about $sample_rows are drawn by a hash of the battery and
-- the day; rows_meant says how many of those not drawn a row speaks for, itself among them.
WITH code_read AS (
    SELECT vin, position, MIN(CAST(tested_at AS DATE)) AS read_on
    FROM battery_test WHERE date_code IS NOT NULL
    GROUP BY vin, position
),
register_seen AS (
    SELECT vin, battery_installed_on, MIN(seen_on) AS seen_on
    FROM vehicle WHERE battery_installed_on IS NOT NULL
    GROUP BY vin, battery_installed_on
),
lives AS (
    SELECT l.*, v.in_service_date, d.read_on,
           GREATEST(l.entered_on, COALESCE(r.seen_on, l.entered_on)) AS known_from,
           COALESCE(SUM(CASE WHEN l.failed THEN 1 ELSE 0 END) OVER (
               PARTITION BY l.vin, l.position ORDER BY l.battery_no
               ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0) AS failed_before
    FROM battery_life l
    JOIN fleet_vehicle v ON v.vin = l.vin
    LEFT JOIN code_read d ON d.vin = l.vin AND d.position = l.position
     AND l.evidence IN ('date code', 'first day on the road')
    LEFT JOIN register_seen r ON r.vin = l.vin AND l.evidence = 'register'
     AND r.battery_installed_on = l.installed_on
),
grid AS (
    SELECT vin, position, battery_no, exited_on, failed,
           UNNEST(GENERATE_SERIES(
               CASE WHEN in_service AND COALESCE(certainty <> 'certain', TRUE) THEN 0
                    ELSE (days_between(exited_on, $as_of) + 7 * $row_weeks) / (7 * $row_weeks) END,
               CASE WHEN days_between(known_from, $as_of) < 0 THEN -1
                    ELSE days_between(known_from, $as_of) / (7 * $row_weeks) END
           )) AS periods_back
    FROM lives
),
dated AS (
    SELECT vin, position, battery_no, periods_back, day_plus($as_of, -7 * $row_weeks * periods_back) AS known_on,
           LEAST(days_between(day_plus($as_of, -7 * $row_weeks * periods_back), exited_on), $horizon_days) AS seen_days,
           failed AND days_between(day_plus($as_of, -7 * $row_weeks * periods_back), exited_on) <= $horizon_days AS failed_then
    FROM grid
),
counted AS (
    SELECT GREATEST(COUNT(*), 1) AS rows FROM dated WHERE periods_back > 0 AND NOT failed_then
),
drawn AS (
    SELECT g.*,
           CASE WHEN periods_back = 0 OR failed_then THEN 1.0
                ELSE GREATEST(1.0, c.rows / CAST($sample_rows AS DOUBLE)) END AS rows_meant
    FROM dated g CROSS JOIN counted c
    WHERE periods_back = 0 OR failed_then
       OR sample_share(vin || ' ' || position || ' ' || CAST(known_on AS VARCHAR)) * c.rows < $sample_rows
)
SELECT g.vin, g.position, g.battery_no, g.periods_back, g.known_on, g.rows_meant, g.failed_then,
       g.failed_then AND COALESCE(l.certainty = 'doubtful', FALSE) AS doubtful_then,
       CASE WHEN g.failed_then THEN LEAST(days_between(g.known_on, $as_of), $horizon_days)
            ELSE g.seen_days END AS watched_days,
       l.depot, l.chemistry, l.battery_group, l.powertrain, l.failed_before, l.failed_on,
       CASE WHEN g.known_on < l.read_on THEN l.in_service_date ELSE l.installed_on END AS installed_on,
       CASE WHEN g.known_on < l.read_on THEN 180 ELSE l.uncertainty_days END AS uncertainty_days
FROM drawn g
JOIN lives l ON l.vin = g.vin AND l.position = g.position AND l.battery_no = g.battery_no
