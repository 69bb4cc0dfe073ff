-- One row is a line of a work order, told once, with the days it was opened and closed on.
-- Reads work orders. Which day an order lies on is decided here and nowhere else: the
-- shop's own, where the lake has it. The same work at the
-- same moment is one line, though an order was exported while open and again when closed, or moved into
-- a new system under a new number: the first number and the last closing stand for all.
SELECT vin, MIN(order_no) AS order_no, opened_at, opened_on, MAX(closed_at) AS closed_at, MAX(closed_on) AS closed_on,
       MIN(shop) AS shop, MIN(NULLIF(TRIM(complaint), '')) AS complaint, MIN(cause) AS cause, operation, position
FROM (
    SELECT *, COALESCE(opened_local_day, CAST(opened_at AS DATE)) AS opened_on,
           COALESCE(closed_local_day, CAST(closed_at AS DATE)) AS closed_on
    FROM work_order
)
GROUP BY vin, opened_at, opened_on, operation, position
