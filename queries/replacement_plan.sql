-- One row is a battery in service with what to do about it and what that is worth.
-- Reads battery_risk. Replacing now saves the failure it prevents and gives up the life still in the
-- battery: saving = chance x (unplanned - planned) - planned x share of expected life left. The action
-- is this week where that pays or the battery has failed already, test first where the test is stale
-- and the chance is at least half of what would pay, next service where it soon will, else leave.
WITH valued AS (
    SELECT *,
           chance * ($unplanned_failure - $planned_replacement)
             - (1 - chance) * $planned_replacement
               * GREATEST(0.0, 1 - age_days / ($battery_life_months * 30.4375)) AS saving,
           -- The chance at which replacing now breaks even.
           $planned_replacement * GREATEST(0.05, 1 - age_days / ($battery_life_months * 30.4375))
             / ($unplanned_failure - $planned_replacement
                + $planned_replacement * GREATEST(0.05, 1 - age_days / ($battery_life_months * 30.4375))) AS pays_from
    FROM battery_risk
),
acted AS (
    SELECT *,
           CASE WHEN failed_on IS NOT NULL OR verdict = 'failed' AND band = 'failed or worn' THEN 'this week'
                WHEN band IN ('untested', 'discharged') AND chance >= 0.5 * pays_from THEN 'test first'
                WHEN chance >= pays_from AND saving > 0 THEN 'this week'
                WHEN chance >= 0.5 * pays_from THEN 'next service'
                ELSE 'leave' END AS wanted
    FROM valued
),
queued AS (
    SELECT *,
           ROW_NUMBER() OVER (PARTITION BY depot, wanted ORDER BY rank) AS place_in_depot
    FROM acted
)
SELECT * EXCEPT (wanted, place_in_depot),
       CASE WHEN wanted = 'this week' AND place_in_depot > $bays_per_week THEN 'next service'
            ELSE wanted END AS action,
       age_days <= $warranty_months * 30.4375 AND evidence <> 'first day on the road' AS under_warranty,
       'age-and-last-test-1' AS model_version,
       CONCAT_WS('; ',
           CASE WHEN failed_on IS NOT NULL
                THEN 'failed on ' || CAST(failed_on AS VARCHAR) || ' and no replacement is on record' END,
           CASE WHEN uncertainty_days > 60
                THEN 'about ' || CAST(ROUND(age_days / 365.25, 1) AS VARCHAR) || ' years old (install day not on record)'
                ELSE CAST(ROUND(age_days / 365.25, 1) AS VARCHAR) || ' years old' END,
           CASE WHEN tested_on IS NULL THEN 'never tested'
                WHEN health IS NULL THEN verdict || ' at the last test ' || CAST(tested_on AS VARCHAR)
                ELSE CAST(CAST(ROUND(100 * health) AS BIGINT) AS VARCHAR) || ' % of rated cranking at the last test '
                     || CAST(tested_on AS VARCHAR) END,
           CASE WHEN supply_floods > 0
                THEN 'supply floods in 13 weeks: ' || CAST(supply_floods AS VARCHAR) || ', the last on '
                     || CAST(last_flood_on AS VARCHAR) END
       ) AS reasons
FROM queued
