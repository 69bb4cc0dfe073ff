-- One row is the risk model: what it rests on.
-- Reads model_fit and health_fit. prior_weight is the share of what is known about the level of the hazard
-- that comes from the prior and not from this fleet.
SELECT m.failures, m.person_weeks, m.looks, m.ridge, m.prior_weight, m.effective_df, h.tests AS tests_fitted,
       s.test_sd, m.model_version,
       -- What stands in the place of a step that could not be fitted; null where all could.
       NULLIF(CONCAT_WS('; ', h.fallback, m.fallback), '') AS fallback,
       CONCAT_WS(' ',
           CASE WHEN m.looks = 0 THEN 'Nothing was watched long enough yet: every chance is what is assumed of batteries in general, by age, chemistry and tests.'
                WHEN m.failures = 0 THEN 'No battery failed in what was watched: the chances lean on what is assumed of batteries in general.'
                WHEN m.failures < $prior_failures THEN 'Few batteries failed in what was watched: the chances lean on what is assumed of batteries in general.' END,
           CASE WHEN h.tests < 20 THEN 'Too few tests followed on one another to learn how health falls here: by age and chemistry it is assumed.' END,
           'A fit found no answer, so a simpler one stands: ' || NULLIF(CONCAT_WS('; ', h.fallback, m.fallback), '') || '.'
       ) AS notes
FROM model_fit m
CROSS JOIN (SELECT tests, fallback FROM health_fit WHERE place = 0) h
CROSS JOIN (SELECT coefficient AS test_sd FROM health_fit WHERE feature = 'test spread') s
WHERE m.place = 0
