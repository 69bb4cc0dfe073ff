-- One row is a battery: what it is made of, its size and its rating, and by what that is known.
-- Reads batteries in place, tests and the register. All three belong to a battery in a place at a time. What its
-- own tests read from its label goes first ('test'), the most often read of it. Then, for a main battery, what the
-- register showed while it was in, or last before ('register'): no register describes further ones. Then
-- what every known battery in that place of the vehicle's model agrees on ('model'), so that an earlier battery is
-- described by a later one only where nothing speaks against like for like. Else it is not known.
WITH read AS (
    SELECT s.vin, s.position, s.battery_no, t.tested_at, t.chemistry, t.rated_value, t.rated_standard
    FROM battery_span s
    JOIN dated_test t ON t.vin = s.vin AND t.position = s.position
     AND (t.tested_on > s.installed_on
          OR (t.tested_on = s.installed_on AND (s.battery_no = 1 OR COALESCE(t.tested_at > s.fitted_at, FALSE))))
     AND (s.replaced_on IS NULL OR t.tested_on < s.replaced_on
          OR (t.tested_on = s.replaced_on AND NOT COALESCE(t.tested_at > s.replaced_at, FALSE)))
),
read_chemistry AS (
    SELECT vin, position, battery_no, FIRST_VALUE(chemistry ORDER BY times DESC, last_read_at DESC, chemistry) AS chemistry
    FROM (SELECT vin, position, battery_no, chemistry, COUNT(*) AS times, MAX(tested_at) AS last_read_at
          FROM read WHERE chemistry IS NOT NULL GROUP BY vin, position, battery_no, chemistry)
    GROUP BY vin, position, battery_no
),
read_rating AS (
    SELECT vin, position, battery_no,
           FIRST_VALUE(rated_value ORDER BY times DESC, last_read_at DESC, rated_value) AS rating_value,
           FIRST_VALUE(rated_standard ORDER BY times DESC, last_read_at DESC, rated_value) AS rating_standard
    FROM (SELECT vin, position, battery_no, rated_value, rated_standard, COUNT(*) AS times, MAX(tested_at) AS last_read_at
          FROM read WHERE rated_value IS NOT NULL GROUP BY vin, position, battery_no, rated_value, rated_standard)
    GROUP BY vin, position, battery_no
),
shown AS (
    SELECT s.vin, s.position, s.battery_no,
           LAST_VALUE(v.chemistry ORDER BY v.seen_on) FILTER (WHERE v.chemistry IS NOT NULL) AS chemistry,
           LAST_VALUE(v.battery_group ORDER BY v.seen_on) FILTER (WHERE v.battery_group IS NOT NULL) AS battery_group,
           LAST_VALUE(v.rating_value ORDER BY v.seen_on) FILTER (WHERE v.rating_value IS NOT NULL) AS rating_value,
           LAST_VALUE(v.rating_standard ORDER BY v.seen_on) FILTER (WHERE v.rating_value IS NOT NULL) AS rating_standard
    FROM battery_span s
    JOIN vehicle v ON v.vin = s.vin AND (s.replaced_on IS NULL OR v.seen_on < s.replaced_on)
    WHERE s.position = 'main'
    GROUP BY s.vin, s.position, s.battery_no
),
own AS (
    SELECT s.vin, s.position, s.battery_no, s.installed_on, s.replaced_on, f.make, f.model,
           COALESCE(c.chemistry, r.chemistry) AS chemistry,
           CASE WHEN c.chemistry IS NOT NULL THEN 'test' WHEN r.chemistry IS NOT NULL THEN 'register' END AS chemistry_from,
           r.battery_group,
           COALESCE(g.rating_value, r.rating_value) AS rating_value,
           -- A rating read without its standard is by the register's.
           COALESCE(g.rating_standard, r.rating_standard) AS rating_standard,
           CASE WHEN g.rating_value IS NOT NULL THEN 'test' WHEN r.rating_value IS NOT NULL THEN 'register' END AS rating_from
    FROM battery_span s
    JOIN fleet_vehicle f ON f.vin = s.vin
    LEFT JOIN read_chemistry c ON c.vin = s.vin AND c.position = s.position AND c.battery_no = s.battery_no
    LEFT JOIN read_rating g ON g.vin = s.vin AND g.position = s.position AND g.battery_no = s.battery_no
    LEFT JOIN shown r ON r.vin = s.vin AND r.position = s.position AND r.battery_no = s.battery_no
),
of_model AS (
    SELECT make, model, position,
           CASE WHEN COUNT(DISTINCT chemistry) = 1 THEN MIN(chemistry) END AS chemistry,
           CASE WHEN COUNT(DISTINCT battery_group) = 1 THEN MIN(battery_group) END AS battery_group,
           CASE WHEN COUNT(DISTINCT rating_value) = 1 AND COUNT(DISTINCT rating_standard) <= 1 THEN MIN(rating_value) END AS rating_value,
           CASE WHEN COUNT(DISTINCT rating_value) = 1 AND COUNT(DISTINCT rating_standard) <= 1 THEN MIN(rating_standard) END AS rating_standard
    FROM own
    GROUP BY make, model, position
)
SELECT o.vin, o.position, o.battery_no, o.installed_on, o.replaced_on,
       COALESCE(o.chemistry, m.chemistry) AS chemistry,
       COALESCE(o.chemistry_from, CASE WHEN m.chemistry IS NOT NULL THEN 'model' END) AS chemistry_from,
       COALESCE(o.battery_group, m.battery_group) AS battery_group,
       COALESCE(o.rating_value, m.rating_value) AS rating_value,
       CASE WHEN o.rating_value IS NOT NULL THEN o.rating_standard ELSE m.rating_standard END AS rating_standard,
       COALESCE(o.rating_from, CASE WHEN m.rating_value IS NOT NULL THEN 'model' END) AS rating_from
FROM own o
LEFT JOIN of_model m ON m.model = o.model AND m.position = o.position AND m.make IS NOT DISTINCT FROM o.make
