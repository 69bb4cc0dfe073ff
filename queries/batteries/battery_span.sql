-- One row is a battery's time in its place: when it went in, by what evidence, and when the next one did.
-- Reads installs.
SELECT vin, position, ROW_NUMBER() OVER one_place AS battery_no, installed_on, evidence, uncertainty_days, fitted_at,
       order_no, source,
       LEAD(installed_on) OVER one_place AS replaced_on,
       LEAD(fitted_at) OVER one_place AS replaced_at,
       LEAD(order_no) OVER one_place AS replaced_by_order,
       LEAD(evidence) OVER one_place AS replaced_evidence
FROM battery_install
WINDOW one_place AS (PARTITION BY vin, position ORDER BY installed_on, evidence)
