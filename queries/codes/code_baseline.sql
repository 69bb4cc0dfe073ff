-- One row is what sessions usually show: the law of the number of new codes, of a model at a scan breadth, of
-- a breadth, and of the whole fleet; of vehicles' first sessions and of further ones.
-- Reads sessions and their new codes, all of them: a fit that leaves out what is large enough to be a flood
-- makes every large count look unusual. usual_law tells the usual from the upsets among them. That there
-- are upsets at all must show in the whole fleet, which chance alone does not do; then they are looked for in
-- every part of it, however few its sessions.
WITH sessions AS (
    SELECT v.make, v.model, s.breadth, n.first_session, CAST(n.new_codes AS DOUBLE) AS codes
    FROM code_session s
    JOIN new_code n ON n.vin = s.vin AND n.session_no = s.session_no
    LEFT JOIN fleet_vehicle v ON v.vin = s.vin
),
known AS (
    SELECT usual_law(codes, CAST($flood_min_codes AS DOUBLE), FALSE)['upset_share'] > 0 AS upsets FROM sessions
),
counted AS (
    SELECT s.*, CAST($flood_min_codes AS DOUBLE) AS upset_from, COALESCE(k.upsets, FALSE) AS upsets
    FROM sessions s CROSS JOIN known k
),
fitted AS (
    SELECT 'model and breadth' AS level, make, model, breadth, first_session, usual_law(codes, upset_from, upsets) AS law
    FROM counted WHERE model IS NOT NULL GROUP BY make, model, breadth, first_session
    UNION ALL
    SELECT 'breadth', NULL, NULL, breadth, first_session, usual_law(codes, upset_from, upsets)
    FROM counted GROUP BY breadth, first_session
    UNION ALL
    SELECT 'fleet', NULL, NULL, NULL, first_session, usual_law(codes, upset_from, upsets)
    FROM counted GROUP BY first_session
)
SELECT level, make, model, breadth, first_session, law['counts'] AS sessions,
       -- Where none was ever seen, half a code in all of them is the least that can be said.
       GREATEST(law['mean'], 0.5 / law['counts']) AS mean, law['size'] AS size,
       law['zero_share'] AS zero_share, law['upset_share'] AS upset_share
FROM fitted
WHERE law['counts'] > 0
