-- One row is a kind of battery that a depot needs for this week's replacements.
-- Reads replacement_plan. A battery is picked by size group and chemistry and must reach at least the
-- rating the vehicle asks for; those whose group or rating nobody wrote down stand on rows of their own.
SELECT depot, battery_group, chemistry, rating_standard, rating_value AS minimum_rating, COUNT(*) AS batteries
FROM replacement_plan
WHERE action = 'this week'
GROUP BY depot, battery_group, chemistry, rating_standard, rating_value
