-- One row is a vehicle's main battery that is in now: when it came, by what evidence, within how many days.
-- Reads lives, orders and date codes. Outside the register there are no lives (battery_no is null): the last
-- order, else the date code, says when it came.
WITH living AS (
    SELECT *, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY battery_no DESC) AS recency
    FROM battery_life WHERE position = 'main' AND installed_on IS NOT NULL
),
ordered AS (
    SELECT vin, MAX(installed_on) AS installed_on, MAX(fitted_at) AS fitted_at
    FROM battery_install WHERE position = 'main' AND order_no IS NOT NULL
    GROUP BY vin
),
coded AS (
    SELECT vin, MAX(date_code_month(date_code, CAST(tested_at AS DATE))) AS made_on
    FROM battery_test
    WHERE position = 'main' AND date_code IS NOT NULL
    GROUP BY vin
),
known AS (SELECT vin FROM living UNION SELECT vin FROM ordered UNION SELECT vin FROM coded)
SELECT k.vin, l.battery_no, COALESCE(l.installed_on, o.installed_on, c.made_on) AS installed_on, o.fitted_at,
       CASE WHEN l.vin IS NOT NULL THEN l.evidence WHEN o.vin IS NOT NULL THEN 'work order'
            WHEN c.made_on IS NOT NULL THEN 'date code' END AS evidence,
       CASE WHEN l.vin IS NOT NULL THEN l.uncertainty_days WHEN o.vin IS NOT NULL THEN 1
            WHEN c.made_on IS NOT NULL THEN 60 END AS uncertainty_days
FROM known k
LEFT JOIN living l ON l.vin = k.vin AND l.recency = 1
LEFT JOIN ordered o ON o.vin = k.vin
LEFT JOIN coded c ON c.vin = k.vin
