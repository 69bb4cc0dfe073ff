-- One row is a shop, a technician, a model or an operation: how many of its orders came back, and how
-- many would have by the mix of its work. A technician's unit is the shop.
-- Reads comebacks followed long enough, handed over in the $rate_days before that; those of as long a
-- time before are what the change is told against. Limits of the share are Wilson's. Expected is the sum over its
-- orders of the share that comes back for the same model and operation in all shops (for a model the
-- same operation, for an operation the same model), each drawn towards the overall share as by ten
-- further orders. The funnel is exact Poisson about 1; chances are adjusted within each kind.
WITH looked_at AS (
    SELECT shop, technician,
           COALESCE(make || ' ' || model, 'not known') AS model, operation,
           CASE WHEN came_back THEN 1 ELSE 0 END AS back,
           CASE WHEN came_back_soon THEN 1 ELSE 0 END AS soon,
           return_cost,
           days_between(closed_on, $as_of) - $comeback_late_days AS days_before
    FROM comeback
    WHERE followed
),
followed AS (SELECT * FROM looked_at WHERE days_before < $rate_days),
earlier AS (
    SELECT 'shop' AS kind, shop AS unit, CAST(NULL AS VARCHAR) AS technician, back FROM looked_at
    WHERE days_before BETWEEN $rate_days AND 2 * $rate_days - 1
    UNION ALL
    SELECT 'technician', shop, technician, back FROM looked_at
    WHERE technician IS NOT NULL AND days_before BETWEEN $rate_days AND 2 * $rate_days - 1
    UNION ALL
    SELECT 'model', model, NULL, back FROM looked_at
    WHERE days_before BETWEEN $rate_days AND 2 * $rate_days - 1
    UNION ALL
    SELECT 'operation', operation, NULL, back FROM looked_at
    WHERE days_before BETWEEN $rate_days AND 2 * $rate_days - 1
),
before AS (
    SELECT kind, unit, technician, COUNT(*) AS orders, SUM(back) AS comebacks
    FROM earlier GROUP BY kind, unit, technician
),
overall AS (SELECT CAST(SUM(back) AS DOUBLE) / COUNT(*) AS share FROM followed),
by_both AS (
    SELECT f.model, f.operation, (SUM(f.back) + 10 * MIN(a.share)) / (COUNT(*) + 10) AS share
    FROM followed f CROSS JOIN overall a GROUP BY f.model, f.operation
),
by_model AS (
    SELECT f.model, (SUM(f.back) + 10 * MIN(a.share)) / (COUNT(*) + 10) AS share
    FROM followed f CROSS JOIN overall a GROUP BY f.model
),
by_operation AS (
    SELECT f.operation, (SUM(f.back) + 10 * MIN(a.share)) / (COUNT(*) + 10) AS share
    FROM followed f CROSS JOIN overall a GROUP BY f.operation
),
each AS (
    SELECT 'shop' AS kind, f.shop AS unit, CAST(NULL AS VARCHAR) AS technician, f.back, f.soon, f.return_cost, b.share AS expected
    FROM followed f JOIN by_both b ON b.model = f.model AND b.operation = f.operation
    UNION ALL
    SELECT 'technician', f.shop, f.technician, f.back, f.soon, f.return_cost, b.share
    FROM followed f JOIN by_both b ON b.model = f.model AND b.operation = f.operation
    WHERE f.technician IS NOT NULL
    UNION ALL
    SELECT 'model', f.model, NULL, f.back, f.soon, f.return_cost, b.share
    FROM followed f JOIN by_operation b ON b.operation = f.operation
    UNION ALL
    SELECT 'operation', f.operation, NULL, f.back, f.soon, f.return_cost, b.share
    FROM followed f JOIN by_model b ON b.model = f.model
),
summed AS (
    SELECT kind, unit, technician, COUNT(*) AS orders, SUM(back) AS comebacks, SUM(soon) AS comebacks_soon,
           SUM(expected) AS expected, SUM(return_cost) AS return_cost
    FROM each GROUP BY kind, unit, technician
),
placed AS (
    SELECT s.*, share_limits(s.comebacks, s.orders) AS share,
           funnel_place(s.comebacks, s.expected) AS place, a.share AS overall_share,
           b.orders AS orders_before, b.comebacks AS comebacks_before,
           rate_change(s.comebacks, s.orders, b.comebacks, b.orders) AS change
    FROM summed s CROSS JOIN overall a
    LEFT JOIN before b ON b.kind = s.kind AND b.unit = s.unit
     AND COALESCE(b.technician, '') = COALESCE(s.technician, '')
)
SELECT kind, unit, technician, orders, comebacks, comebacks_soon,
       share['share'] AS share, share['lower'] AS share_lower, share['upper'] AS share_upper,
       expected, place['ratio'] AS ratio, place['lower'] AS funnel_lower, place['upper'] AS funnel_upper,
       LEAST(1.0, place['ratio'] * overall_share) AS adjusted_share, overall_share, place['p'] AS p_value,
       adjusted_p(place['p']) OVER (PARTITION BY kind) AS adjusted, return_cost,
       orders_before, comebacks_before, change['ratio'] AS change_ratio, change['lower'] AS change_lower,
       change['upper'] AS change_upper
FROM placed
