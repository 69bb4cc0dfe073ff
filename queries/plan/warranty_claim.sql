-- One row is a battery under warranty that may be claimed for, or should be tested before it ends.
-- Reads replacement_plan and the last test of the charged battery. A claim needs a finding: a test that
-- called it worn or failed, or a failure on record, all within the warranty. A battery without one whose
-- warranty ends within 13 weeks and that was not tested in the last quarter gets a test while it still
-- counts. ends_on is the day the warranty ends, by $warranty_months from the day on record that it was
-- fitted. rank orders those whose warranty ends first.
WITH covered AS (
    SELECT p.*, day_plus(p.installed_on, CAST($warranty_months * 30.4375 AS BIGINT)) AS ends_on
    FROM replacement_plan p
    WHERE p.under_warranty
),
claimed AS (
    SELECT *,
           CASE WHEN failed_on IS NOT NULL THEN 'claim: failed'
                WHEN verdict = 'failed' THEN 'claim: tested failed'
                WHEN verdict = 'worn' THEN 'claim: tested worn'
                WHEN days_between($as_of, ends_on) <= 91
                 AND (tested_on IS NULL OR days_between(tested_on, $as_of) > 91) THEN 'test before it ends' END AS what
    FROM covered
)
SELECT vin, position, unit_no, depot, battery_group, chemistry, installed_on, evidence, tested_on, verdict, health,
       failed_on, ends_on, what, ROW_NUMBER() OVER (ORDER BY ends_on, vin, position) AS rank
FROM claimed WHERE what IS NOT NULL
