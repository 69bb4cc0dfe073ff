-- One row is a kind of finding: how often it was seen, and how often costly work followed within
-- $comeback_late_days.
-- Reads tests, floods, scans and work orders. A finding counts only where that time is over. It answers
-- what a finding on a vehicle for sale is likely to cost.
WITH findings AS (
    SELECT verdict AS finding, vin, tested_on AS found_on FROM battery_condition
    WHERE verdict IN ('discharged', 'fit')
    UNION ALL
    SELECT 'flood: ' || cause, vin, CAST(started_at AS DATE) FROM code_flood
    UNION ALL
    SELECT 'cleared shortly before', vin, CAST(scanned_at AS DATE) FROM code_scan
    WHERE (warm_ups_since_clear <= $few_warm_ups OR km_since_clear <= $few_km)
      AND COALESCE(monitors_ready < monitors_supported, TRUE)
),
once AS (SELECT DISTINCT finding, vin, found_on FROM findings WHERE days_between(found_on, $as_of) >= $comeback_late_days),
followed AS (
    SELECT f.finding, f.vin, f.found_on,
           MAX(CASE WHEN f.finding IN ('discharged', 'fit') AND w.operation = 'battery replaced' THEN 1
                    WHEN f.finding NOT IN ('discharged', 'fit') AND w.operation IN ('module replaced', 'tow') THEN 1
                    WHEN f.finding = 'cleared shortly before' AND w.operation IN ('no-start call', 'codes cleared') THEN 1
                    ELSE 0 END) AS costly
    FROM once f
    LEFT JOIN work_order w ON w.vin = f.vin
     AND days_between(f.found_on, CAST(w.opened_at AS DATE)) BETWEEN 1 AND $comeback_late_days
    GROUP BY f.finding, f.vin, f.found_on
)
SELECT finding, COUNT(*) AS times, SUM(costly) AS followed
FROM followed
GROUP BY finding
