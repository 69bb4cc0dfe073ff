-- One row is a vehicle with the day on which it is next expected in for work that is no trouble.
-- Reads work orders. Where no schedule is on record the vehicle's own rhythm tells: of the gaps between its
-- visits that were longer than the one that now runs, the median is the one to expect. A vehicle with
-- fewer than three gaps goes by those of its depot; with none longer, or none at all, nothing is expected.
-- Visits within a fortnight of one another are one. rests_on says whose rhythm it is.
WITH visited AS (
    SELECT vin, depot, day, LAG(day) OVER (PARTITION BY vin ORDER BY day) AS before
    FROM (SELECT DISTINCT vin, depot, CAST(opened_at AS DATE) AS day
          FROM repair_order
          WHERE NOT about_trouble AND operation <> 'roadside help' AND depot IS NOT NULL)
),
gaps AS (
    SELECT vin, depot, CAST(days_between(before, day) AS DOUBLE) AS gap_days
    FROM visited WHERE days_between(before, day) >= 14
),
last_visit AS (
    SELECT vin, depot, MAX(day) AS last_on, CAST(days_between(MAX(day), $as_of) AS DOUBLE) AS since_days
    FROM visited GROUP BY vin, depot
),
own AS (
    SELECT l.vin, COUNT(*) AS gaps, MEDIAN(g.gap_days) AS usual_days,
           MEDIAN(CASE WHEN g.gap_days > l.since_days THEN g.gap_days END) AS gap_days
    FROM last_visit l JOIN gaps g ON g.vin = l.vin
    GROUP BY l.vin
),
-- How often each gap came at a depot, with how many were shorter and how many as short: so that a median is looked
-- up by its rank, and a large depot costs no more than a small one.
gap_rank AS (
    SELECT depot, gap_days, SUM(times) OVER (PARTITION BY depot) AS gaps,
           SUM(times) OVER (PARTITION BY depot ORDER BY gap_days) - times AS shorter,
           SUM(times) OVER (PARTITION BY depot ORDER BY gap_days) AS up_to
    FROM (SELECT depot, gap_days, COUNT(*) AS times FROM gaps GROUP BY depot, gap_days)
),
-- Of vehicles at the depot, by how many days it is since the last visit, with the gaps no longer than that.
since AS (
    SELECT s.depot, s.since_days, COALESCE(MAX(g.up_to), 0) AS over
    FROM (SELECT DISTINCT depot, since_days FROM last_visit) s
    LEFT JOIN gap_rank g ON g.depot = s.depot AND g.gap_days <= s.since_days
    GROUP BY s.depot, s.since_days
),
-- The middle one, or the mean of the two in the middle.
of_depot AS (
    SELECT s.depot, s.since_days,
           AVG(CASE WHEN g.shorter < (g.gaps + 2) / 2 AND g.up_to >= (g.gaps + 1) / 2 THEN g.gap_days END) AS usual_days,
           AVG(CASE WHEN g.gap_days > s.since_days
                     AND g.shorter < s.over + (g.gaps - s.over + 2) / 2
                     AND g.up_to >= s.over + (g.gaps - s.over + 1) / 2 THEN g.gap_days END) AS gap_days
    FROM since s JOIN gap_rank g ON g.depot = s.depot
    GROUP BY s.depot, s.since_days
),
expected AS (
    SELECT l.vin, l.depot, l.last_on, l.since_days,
           CASE WHEN o.gaps >= 3 AND o.gap_days IS NOT NULL THEN o.gap_days ELSE d.gap_days END AS gap_days,
           CASE WHEN o.gaps >= 3 THEN o.usual_days ELSE d.usual_days END AS usual_gap_days,
           CASE WHEN o.gaps >= 3 AND o.gap_days IS NOT NULL THEN 'its own visits'
                WHEN d.gap_days IS NOT NULL THEN 'visits at its depot' END AS rests_on
    FROM last_visit l
    LEFT JOIN own o ON o.vin = l.vin
    LEFT JOIN of_depot d ON d.depot = l.depot AND d.since_days = l.since_days
)
SELECT vin, depot, last_on, usual_gap_days, gap_days - since_days AS due_in_days,
       day_plus($as_of, CAST(gap_days - since_days AS BIGINT)) AS due_on, rests_on
FROM expected
WHERE gap_days IS NOT NULL
