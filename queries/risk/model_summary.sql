-- One row is the risk model: what it rests on.
-- Reads model_fit and health_fit. prior_weight is the share of what is known about the level of the hazard
-- that comes from the prior and not from this fleet; what the chances and the fall of health rest on is
-- said in words of EstimateBasis.
SELECT m.failures, m.person_weeks, m.looks, m.ridge, m.prior_weight, m.effective_df, h.tests AS tests_fitted,
       s.test_sd, m.model_version,
       -- What stands in the place of a step that could not be fitted; null where all could.
       NULLIF(CONCAT_WS('; ', h.fallback, m.fallback), '') AS fallback,
       CASE WHEN m.looks = 0 THEN 'nothing watched'
            WHEN m.failures = 0 THEN 'none failed'
            WHEN m.failures < $prior_failures THEN 'few failed'
            ELSE 'this fleet' END AS chances_rest_on,
       CASE WHEN h.tests < 20 THEN 'few tests' ELSE 'this fleet' END AS wear_rests_on
FROM model_fit m
CROSS JOIN (SELECT tests, fallback FROM health_fit WHERE place = 0) h
CROSS JOIN (SELECT coefficient AS test_sd FROM health_fit WHERE feature = 'test spread') s
WHERE m.place = 0
