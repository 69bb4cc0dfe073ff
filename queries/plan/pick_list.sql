-- One row is a kind of battery that a depot needs at hand for this week's visits.
-- Reads replacement_plan. A battery is picked by size group and chemistry and must reach at least the
-- rating the vehicle asks for; those whose group or rating nobody wrote down stand on rows of their own.
-- batteries counts what may be replaced; expected is how many likely will be, as some are tested first and
-- kept.
SELECT depot, battery_group, chemistry, rating_standard, rating_value AS minimum_rating, COUNT(*) AS batteries,
       SUM(replace_share) AS expected
FROM replacement_plan
WHERE action = 'this week'
GROUP BY depot, battery_group, chemistry, rating_standard, rating_value
