-- One row is a week of a shop, a model or the whole fleet, and a cause: how many floods of it there
-- were, none included.
-- Reads floods. Weeks run from the first flood's to the last one's and begin on Mondays.
WITH flood AS (
    SELECT f.cause, u.shop, u.model,
           days_between(CAST('2000-01-03' AS DATE), CAST(f.started_at AS DATE)) / 7 AS week_no
    FROM code_flood f
    JOIN vehicle_shop u ON u.vin = f.vin
),
unit AS (
    SELECT 'fleet' AS kind, 'whole fleet' AS unit
    UNION ALL SELECT DISTINCT 'shop', shop FROM flood
    UNION ALL SELECT DISTINCT 'model', model FROM flood
),
counted AS (
    SELECT 'fleet' AS kind, 'whole fleet' AS unit, cause, week_no, COUNT(*) AS floods FROM flood GROUP BY cause, week_no
    UNION ALL SELECT 'shop', shop, cause, week_no, COUNT(*) FROM flood GROUP BY shop, cause, week_no
    UNION ALL SELECT 'model', model, cause, week_no, COUNT(*) FROM flood GROUP BY model, cause, week_no
),
week AS (
    SELECT UNNEST(generate_series(first_no, last_no)) AS week_no
    FROM (SELECT MIN(week_no) AS first_no, MAX(week_no) AS last_no FROM flood)
    WHERE first_no IS NOT NULL
)
SELECT u.kind, u.unit, c.cause, w.week_no, day_plus(CAST('2000-01-03' AS DATE), 7 * w.week_no) AS monday,
       COALESCE(n.floods, 0) AS floods
FROM unit u
CROSS JOIN (SELECT DISTINCT cause FROM flood) c
CROSS JOIN week w
LEFT JOIN counted n ON n.kind = u.kind AND n.unit = u.unit AND n.cause = c.cause AND n.week_no = w.week_no
