-- One row is a cohort in a period: batteries, failures and days under observation.
-- Reads cohort_life and cohort_period. A battery counts in every period it was under observation in, for
-- the days of it; one that failed on the first day of a period, without a day there, counts too, as its
-- failure is of no other.
SELECT c.cohort_kind, c.cohort, p.period, p.earlier_period,
       COUNT(*) AS batteries,
       SUM(CASE WHEN c.failed AND c.exited_on >= p.starts_on AND c.exited_on < p.ends_on THEN 1 ELSE 0 END) AS failures,
       SUM(days_between(GREATEST(c.entered_on, p.starts_on), LEAST(c.exited_on, p.ends_on))) AS battery_days
FROM cohort_period p
JOIN cohort_life c ON c.entered_on < p.ends_on
 AND (c.exited_on > p.starts_on OR c.failed AND c.exited_on = p.starts_on)
GROUP BY c.cohort_kind, c.cohort, p.period, p.earlier_period
