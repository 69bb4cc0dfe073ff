-- One row is one kind of trouble with repairs, at one shop or at all, in the last 28 days, held against
-- the 336 days before.
-- Reads comebacks by the day they came back and the shop that had handed the vehicle over, modules
-- replaced in a flood of the supply, vehicles handed over unchecked, batteries replaced again under
-- warranty. All are told by the repair orders opened at the shop in the same days. Chances are exact
-- and adjusted for all rows; it stands out where they leave at most one in twenty to chance and it is
-- more than before.
WITH event AS (
    SELECT 'came back' AS trouble, shop, returned_on AS day, return_cost AS cost FROM comeback WHERE came_back
    UNION ALL
    SELECT 'module in flood', COALESCE(shop, 'not known'), opened_on, parts_cost FROM replaced_in_flood WHERE replaced = 'module'
    UNION ALL
    SELECT 'handed over unchecked', COALESCE(shop, 'not known'), opened_on, NULL FROM cleared_unchecked
    UNION ALL
    SELECT 'battery again', COALESCE(shop, 'not known'), replaced_on, parts_cost FROM repeat_battery
),
dated AS (
    SELECT trouble, shop, cost, days_between(day, $as_of) AS days_ago FROM event
    WHERE days_between(day, $as_of) BETWEEN 0 AND 363
),
work AS (
    SELECT shop, days_between(CAST(opened_at AS DATE), $as_of) AS days_ago FROM repair_order
    WHERE days_between(CAST(opened_at AS DATE), $as_of) BETWEEN 0 AND 363
),
by_shop AS (
    SELECT trouble, shop,
           SUM(CASE WHEN days_ago < 28 THEN 1 ELSE 0 END) AS times,
           SUM(CASE WHEN days_ago >= 28 THEN 1 ELSE 0 END) AS times_before,
           SUM(CASE WHEN days_ago < 28 THEN cost END) AS cost
    FROM dated GROUP BY trouble, shop
),
work_by_shop AS (
    SELECT shop, SUM(CASE WHEN days_ago < 28 THEN 1 ELSE 0 END) AS orders,
           SUM(CASE WHEN days_ago >= 28 THEN 1 ELSE 0 END) AS orders_before
    FROM work GROUP BY shop
),
counted AS (
    SELECT t.trouble, t.shop, t.times, t.times_before, t.cost, w.orders, w.orders_before
    FROM by_shop t JOIN work_by_shop w ON w.shop = t.shop
    UNION ALL
    SELECT t.trouble, NULL, t.times, t.times_before, t.cost, w.orders, w.orders_before
    FROM (SELECT trouble, SUM(times) AS times, SUM(times_before) AS times_before, SUM(cost) AS cost
          FROM by_shop GROUP BY trouble) t
    CROSS JOIN (SELECT SUM(orders) AS orders, SUM(orders_before) AS orders_before FROM work_by_shop) w
),
held AS (
    SELECT *, rate_change(times, orders, times_before, orders_before) AS change,
           CAST(orders AS DOUBLE) * times_before / NULLIF(orders_before, 0) AS expected
    FROM counted
    WHERE orders > 0 AND orders_before > 0
),
judged AS (
    SELECT trouble, shop, times, expected, cost, orders, change['ratio'] AS ratio, change['lower'] AS ratio_lower,
           change['upper'] AS ratio_upper, change['p'] AS p_value,
           adjusted_p(change['p']) OVER (PARTITION BY TRUE) AS adjusted
    FROM held
)
SELECT *, COALESCE(adjusted <= 0.05, FALSE) AND times > expected AS stands_out
FROM judged
