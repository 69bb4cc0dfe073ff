-- One row is a week's end of the past year: how often batteries failed in the 13 weeks up to it, what tests
-- said of those in service, and how many recoveries stood open. 0 is the day looked back from.
-- Reads batteries, their tests, recoveries and what the weekly runs told. Failures and the time under
-- watch count for 13 weeks together, for a week has too few; limits are Garwood's and Wilson's. A test
-- speaks for its battery for $test_stale_days or until the next one. told and came are those of the run
-- of that week, where its days are over. Everything is as known now.
WITH week AS (
    SELECT weeks_ago, day_plus($as_of, -7 * weeks_ago) AS week_end, day_plus($as_of, -7 * weeks_ago - 91) AS quarter_begin
    FROM (SELECT UNNEST(generate_series(0, 52)) AS weeks_ago)
),
watched AS (
    SELECT w.weeks_ago,
           SUM(GREATEST(days_between(GREATEST(l.entered_on, w.quarter_begin), LEAST(l.exited_on, w.week_end)), 0)) / 30.4375 AS battery_months,
           SUM(CASE WHEN l.failed AND l.exited_on > w.quarter_begin AND l.exited_on <= w.week_end THEN 1 ELSE 0 END) AS failures,
           SUM(CASE WHEN l.installed_on <= w.week_end AND (l.exited_on > w.week_end OR l.in_service) THEN 1 ELSE 0 END) AS batteries
    FROM week w
    JOIN battery_life l ON l.installed_on <= w.week_end AND l.exited_on > w.quarter_begin
    GROUP BY w.weeks_ago
),
spoken AS (
    SELECT t.verdict, t.tested_on,
           LEAST(day_plus(t.tested_on, $test_stale_days),
                 COALESCE(LEAD(t.tested_on) OVER one_battery, day_plus(t.tested_on, $test_stale_days)),
                 CASE WHEN l.in_service THEN day_plus(t.tested_on, $test_stale_days) ELSE l.exited_on END) AS until_on
    FROM battery_condition t
    JOIN battery_life l ON l.vin = t.vin AND l.position = t.position AND l.battery_no = t.battery_no
    WINDOW one_battery AS (PARTITION BY t.vin, t.position, t.battery_no ORDER BY t.tested_at, t.health NULLS LAST)
),
tested AS (
    SELECT w.weeks_ago, COUNT(*) AS tested,
           SUM(CASE WHEN s.verdict IN ('worn', 'failed') THEN 1 ELSE 0 END) AS worn
    FROM week w JOIN spoken s ON s.tested_on <= w.week_end AND s.until_on > w.week_end
    GROUP BY w.weeks_ago
),
recovery AS (
    SELECT r.opened_on,
           CASE r.ended WHEN 'proven' THEN r.proven_on
                        WHEN 'another case' THEN LEAD(r.opened_on) OVER (PARTITION BY r.vin ORDER BY r.case_no)
                        WHEN 'not followed up' THEN day_plus(r.last_trouble_on, $follow_up_days)
                        WHEN 'left fleet' THEN v.gone_on END AS ended_on
    FROM recovery_case r LEFT JOIN fleet_vehicle v ON v.vin = r.vin
),
opened AS (
    SELECT w.weeks_ago, COUNT(*) AS open_recoveries
    FROM week w JOIN recovery r ON r.opened_on <= w.week_end AND (r.ended_on IS NULL OR r.ended_on > w.week_end)
    GROUP BY w.weeks_ago
),
told AS (
    SELECT week, SUM(expected) AS told, SUM(failed) AS came FROM prediction_record WHERE horizon_over GROUP BY week
),
joined AS (
    SELECT w.weeks_ago, w.week_end, iso_week(w.week_end) AS week, h.batteries, h.battery_months, h.failures,
           rate_limits(h.failures, h.battery_months / 1000) AS rate,
           COALESCE(t.tested, 0) AS tested, COALESCE(t.worn, 0) AS worn,
           share_limits(COALESCE(t.worn, 0), COALESCE(t.tested, 0)) AS worn_share,
           share_limits(COALESCE(t.tested, 0), h.batteries) AS tested_share,
           COALESCE(o.open_recoveries, 0) AS open_recoveries
    FROM week w
    LEFT JOIN watched h ON h.weeks_ago = w.weeks_ago
    LEFT JOIN tested t ON t.weeks_ago = w.weeks_ago
    LEFT JOIN opened o ON o.weeks_ago = w.weeks_ago
)
SELECT j.weeks_ago, j.week_end, j.week, j.batteries, j.battery_months, j.failures,
       rate['rate'] AS rate, rate['lower'] AS rate_lower, rate['upper'] AS rate_upper,
       j.tested, j.worn, worn_share['share'] AS share_worn, worn_share['lower'] AS share_worn_lower,
       worn_share['upper'] AS share_worn_upper, tested_share['share'] AS share_tested,
       j.open_recoveries, d.told, d.came
FROM joined j
LEFT JOIN told d ON d.week = j.week
