-- One row is a battery in service that was called for, with no new battery and no fit test since: the chance that it
-- has failed, as it will prove within $horizon_days.
-- Reads calls that stood as long with the same done since, and what became of them. Few calls of a kind are drawn
-- to all that were done alike, and those to all open calls; before any, half of them are believed to have failed
-- (common practice, no source). A battery that was found worn or failed since is certain, and not here.
WITH counted AS (
    SELECT since_then, waited_days, COUNT(*) AS calls, SUM(CASE WHEN proved THEN 1 ELSE 0 END) AS proved
    FROM call_waited WHERE proved IS NOT NULL
    GROUP BY since_then, waited_days
),
overall AS (SELECT (COALESCE(SUM(proved), 0) + 2.0) / (COALESCE(SUM(calls), 0) + 4.0) AS share FROM counted),
done_alike AS (
    SELECT c.since_then, (SUM(c.proved) + 4.0 * MAX(o.share)) / (SUM(c.calls) + 4.0) AS share
    FROM counted c CROSS JOIN overall o GROUP BY c.since_then
),
open AS (
    SELECT w.*, ROW_NUMBER() OVER (PARTITION BY w.vin, w.position ORDER BY w.waited_days DESC, w.called_on) AS place
    FROM call_waited w
    JOIN battery_life l ON l.vin = w.vin AND l.position = w.position AND l.battery_no = w.battery_no
    WHERE l.in_service AND l.failed_on = w.called_on AND l.certainty <> 'certain'
),
believed AS (
    SELECT o.vin, o.position, o.battery_no, o.called_on, day_plus(o.called_on, $trouble_days) AS open_until, o.since_then,
           COALESCE(c.calls, 0) AS calls, COALESCE(c.proved, 0) AS proved,
           COALESCE(c.proved, 0) + 4.0 * COALESCE(d.share, a.share) AS likely, COALESCE(c.calls, 0) + 4.0 AS of_calls
    FROM open o
    CROSS JOIN overall a
    LEFT JOIN done_alike d ON d.since_then = o.since_then
    LEFT JOIN counted c ON c.since_then = o.since_then AND c.waited_days = o.waited_days
    WHERE o.place = 1
)
SELECT vin, position, battery_no, called_on, open_until, since_then, calls, proved, likely / of_calls AS chance,
       limits['lower'] AS chance_lower, limits['upper'] AS chance_upper
FROM (SELECT *, share_limits(CAST(ROUND(likely) AS BIGINT), CAST(of_calls AS BIGINT)) AS limits FROM believed)
