-- One row is what sessions usually show: the negative-binomial law of the number of distinct codes,
-- of a model at a scan breadth, of a breadth, and of the whole fleet.
-- Reads sessions. Those large enough to be a flood are left out of the fit, so that floods do not
-- make floods look usual.
WITH usual AS (
    SELECT v.make, v.model, s.breadth, CAST(s.codes AS DOUBLE) AS codes
    FROM code_session s
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
    WHERE s.codes < $flood_min_codes OR s.modules < $flood_min_modules
),
fitted AS (
    SELECT 'model and breadth' AS level, make, model, breadth, count_law(codes) AS law
    FROM usual WHERE model IS NOT NULL GROUP BY make, model, breadth
    UNION ALL
    SELECT 'breadth', NULL, NULL, breadth, count_law(codes) FROM usual GROUP BY breadth
    UNION ALL
    SELECT 'fleet', NULL, NULL, NULL, count_law(codes) FROM usual
)
SELECT level, make, model, breadth, law['counts'] AS sessions,
       -- Where none was ever seen, half a code in all of them is the least that can be said.
       GREATEST(law['mean'], 0.5 / law['counts']) AS mean, law['size'] AS size
FROM fitted
WHERE law['counts'] > 0
