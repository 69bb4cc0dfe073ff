-- One row is a shop, a model, a week, or four weeks of a shop or model, with its floods of one cause
-- held against chance.
-- Reads floods by week, and which shop mostly sees each vehicle. Expected of a shop is by its vehicles'
-- months and their models' rates, of a model by its shops'; of four weeks by the unit's floods at all
-- other times and by what those weeks brought everywhere else; of a week by the law of all weeks. Of
-- overlapping four weeks the most striking stand for the others. A bad charger, a campaign or a cold
-- snap stands out; chances are adjusted within each kind.
WITH total AS (
    SELECT kind, unit, cause, SUM(floods) AS floods FROM flood_week GROUP BY kind, unit, cause
),
mix AS (SELECT shop, model, SUM(months) AS months FROM vehicle_shop GROUP BY shop, model),
rate AS (
    SELECT t.kind, t.unit, t.cause, t.floods / NULLIF(m.months, 0) AS rate
    FROM total t
    JOIN (SELECT 'shop' AS kind, shop AS unit, SUM(months) AS months FROM mix GROUP BY shop
          UNION ALL SELECT 'model', model, SUM(months) FROM mix GROUP BY model) m
      ON m.kind = t.kind AND m.unit = t.unit
),
by_mix AS (
    SELECT 'shop' AS kind, x.shop AS unit, r.cause, SUM(x.months * r.rate) AS expected
    FROM mix x JOIN rate r ON r.kind = 'model' AND r.unit = x.model GROUP BY x.shop, r.cause
    UNION ALL
    SELECT 'model', x.model, r.cause, SUM(x.months * r.rate)
    FROM mix x JOIN rate r ON r.kind = 'shop' AND r.unit = x.shop GROUP BY x.model, r.cause
),
four AS (
    SELECT kind, unit, cause, week_no, monday,
           SUM(floods) OVER (PARTITION BY kind, unit, cause ORDER BY week_no ROWS BETWEEN 3 PRECEDING AND CURRENT ROW) AS floods
    FROM flood_week
),
against AS (
    SELECT f.kind, f.unit, f.cause, f.week_no, f.monday, f.floods,
           (t.floods - f.floods) * (g.floods - f.floods + 0.5)
             / (a.floods - t.floods - (g.floods - f.floods) + 0.5) AS expected
    FROM four f
    JOIN total t ON t.kind = f.kind AND t.unit = f.unit AND t.cause = f.cause
    JOIN four g ON g.kind = 'fleet' AND g.cause = f.cause AND g.week_no = f.week_no
    JOIN total a ON a.kind = 'fleet' AND a.cause = f.cause
    WHERE f.kind <> 'fleet'
),
-- Half a flood is the least that can be expected where there is nothing to go by.
judged AS (
    SELECT kind, unit, CAST(NULL AS DATE) AS from_on, CAST(NULL AS DATE) AS to_on, CAST(NULL AS BIGINT) AS week_no,
           cause, floods, expected, place['p'] AS p_value
    FROM (
        SELECT e.kind, e.unit, e.cause, t.floods, e.expected, funnel_place(t.floods, GREATEST(e.expected, 0.5)) AS place
        FROM by_mix e JOIN total t ON t.kind = e.kind AND t.unit = e.unit AND t.cause = e.cause
    )
    UNION ALL
    SELECT CASE kind WHEN 'shop' THEN 'shop in four weeks' ELSE 'model in four weeks' END, unit, day_plus(monday, -21), day_plus(monday, 6), week_no,
           cause, floods, expected, funnel_place(floods, GREATEST(expected, 0.5))['p']
    FROM against
    UNION ALL
    SELECT 'week', w.unit, w.monday, day_plus(w.monday, 6), w.week_no, w.cause, w.floods, l.law['mean'],
           count_tail(w.floods, l.law['mean'], l.law['size'])
    FROM flood_week w
    JOIN (SELECT cause, count_law(CAST(floods AS DOUBLE)) AS law FROM flood_week WHERE kind = 'fleet' GROUP BY cause) l
      ON l.cause = w.cause
    WHERE w.kind = 'fleet'
),
ranked AS (
    SELECT *, adjusted_p(p_value) OVER (PARTITION BY kind) AS adjusted,
           ROW_NUMBER() OVER (PARTITION BY kind ORDER BY p_value, unit, week_no, cause) AS at
    FROM judged
    WHERE p_value IS NOT NULL
),
told AS (
    SELECT kind, unit, from_on, to_on, cause, floods, expected, p_value, adjusted,
           at = MIN(at) OVER (
               PARTITION BY kind, unit, cause ORDER BY week_no ROWS BETWEEN 3 PRECEDING AND 3 FOLLOWING
           ) OR kind IN ('shop', 'model', 'week') AS stands_for
    FROM ranked
)
SELECT kind, unit, from_on, to_on, cause, floods, expected, p_value, adjusted,
       adjusted <= 0.01 AND floods >= 3 AND floods > expected AS odd
FROM told
WHERE stands_for
