-- One row is a day on which, by the register alone, a main battery went in.
-- Reads the register and the changes by order. A day the register gave and took back is not there: a
-- later export that names an earlier day corrects it, and of days less than a quarter of a year apart, which
-- is one export of many registers (judgement, no source), the one named last holds. A day that fits a change by order is
-- that change's: within six weeks of it, or within a quarter where it was first shown once the change
-- was done.
WITH told AS (
    SELECT v.vin, v.battery_installed_on AS installed_on, MIN(v.seen_on) AS first_told_on, MAX(v.seen_on) AS last_told_on
    FROM vehicle v
    JOIN fleet_vehicle f ON f.vin = v.vin
    WHERE v.battery_installed_on <= v.seen_on AND days_between(f.in_service_date, v.battery_installed_on) >= -92
    GROUP BY v.vin, v.battery_installed_on
),
ordered AS (
    SELECT DISTINCT vin, opened_on, changed_on FROM battery_change WHERE position = 'main'
),
of_an_order AS (
    SELECT DISTINCT t.vin, t.installed_on
    FROM told t
    JOIN ordered o ON o.vin = t.vin
     AND (days_between(o.changed_on, t.installed_on) BETWEEN -45 AND 45
          OR (days_between(o.changed_on, t.installed_on) BETWEEN -92 AND 92 AND t.first_told_on >= o.opened_on))
),
alone AS (
    SELECT t.* FROM told t
    LEFT ANTI JOIN of_an_order o ON o.vin = t.vin AND o.installed_on = t.installed_on
),
taken_back AS (
    SELECT DISTINCT a.vin, a.installed_on
    FROM alone a
    JOIN told t ON t.vin = a.vin AND t.installed_on <> a.installed_on AND t.last_told_on > a.last_told_on
     AND (t.installed_on < a.installed_on OR days_between(a.installed_on, t.installed_on) < 92)
)
SELECT a.vin, a.installed_on, a.first_told_on
FROM alone a
LEFT ANTI JOIN taken_back b ON b.vin = a.vin AND b.installed_on = a.installed_on
