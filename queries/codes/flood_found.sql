-- One row is a session with more new codes from more modules than chance brings.
-- Reads the sessions' chances. Of the floods of a week at most the share $flood_false_share is
-- expected to be chance; below $flood_min_codes new codes or $flood_min_modules modules nothing is one.
SELECT *
FROM session_chance
WHERE new_codes >= $flood_min_codes AND new_modules >= $flood_min_modules AND adjusted <= $flood_false_share
