-- One row is a shop, a technician, a model or an operation: how many of its orders came back, and how
-- many would have by the mix of its work. A technician's unit is the shop.
-- Reads comebacks followed long enough. Limits of the share are Wilson's. Expected is the sum over its
-- orders of the share that comes back for the same model and operation in all shops (for a model the
-- same operation, for an operation the same model), each drawn towards the overall share as by ten
-- further orders. The funnel is exact Poisson about 1; chances are adjusted within each kind.
WITH followed AS (
    SELECT shop, technician,
           COALESCE(make || ' ' || model, 'not known') AS model, operation,
           CASE WHEN came_back THEN 1 ELSE 0 END AS back,
           CASE WHEN came_back_soon THEN 1 ELSE 0 END AS soon
    FROM comeback
    WHERE followed
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
    SELECT 'shop' AS kind, f.shop AS unit, CAST(NULL AS VARCHAR) AS technician, f.back, f.soon, b.share AS expected
    FROM followed f JOIN by_both b ON b.model = f.model AND b.operation = f.operation
    UNION ALL
    SELECT 'technician', f.shop, f.technician, f.back, f.soon, b.share
    FROM followed f JOIN by_both b ON b.model = f.model AND b.operation = f.operation
    WHERE f.technician IS NOT NULL
    UNION ALL
    SELECT 'model', f.model, NULL, f.back, f.soon, b.share
    FROM followed f JOIN by_operation b ON b.operation = f.operation
    UNION ALL
    SELECT 'operation', f.operation, NULL, f.back, f.soon, b.share
    FROM followed f JOIN by_model b ON b.model = f.model
),
summed AS (
    SELECT kind, unit, technician, COUNT(*) AS orders, SUM(back) AS comebacks, SUM(soon) AS comebacks_soon,
           SUM(expected) AS expected
    FROM each GROUP BY kind, unit, technician
),
placed AS (
    SELECT s.*, share_limits(s.comebacks, s.orders) AS share,
           funnel_place(s.comebacks, s.expected) AS place, a.share AS overall_share
    FROM summed s CROSS JOIN overall a
)
SELECT kind, unit, technician, orders, comebacks, comebacks_soon,
       share['share'] AS share, share['lower'] AS share_lower, share['upper'] AS share_upper,
       expected, place['ratio'] AS ratio, place['lower'] AS funnel_lower, place['upper'] AS funnel_upper,
       LEAST(1.0, place['ratio'] * overall_share) AS adjusted_share, overall_share, place['p'] AS p_value,
       adjusted_p(place['p']) OVER (PARTITION BY kind) AS adjusted
FROM placed
