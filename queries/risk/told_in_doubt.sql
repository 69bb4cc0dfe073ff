-- One row is a battery of a weekly run whose call stood open when the run spoke: no fit test and no new battery since.
-- Reads what the runs said, and calls as known now. It may have failed already, so what was told of it is held
-- against nothing.
SELECT DISTINCT r.load_id, r.vin, r.position
FROM risk_week r
JOIN battery_call c ON c.vin = r.vin AND c.position = r.position
 AND days_between(c.called_on, r.as_of) BETWEEN 0 AND $trouble_days
 AND (c.found_fit_on IS NULL OR c.found_fit_on > r.as_of)
JOIN battery_life l ON l.vin = r.vin AND l.position = r.position
 AND l.installed_on < c.called_on AND (l.replaced_on IS NULL OR l.replaced_on > r.as_of)
