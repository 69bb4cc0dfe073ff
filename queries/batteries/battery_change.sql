-- One row is an order that changed a battery, with the change it tells of.
-- Reads order lines and the places of those that name none. One replacement is often on record twice: exported while open and when closed, kept
-- in two systems, dated a few days apart. Orders of one place within $same_trouble_days of each other are one
-- change, unless a supply call came more than three days after the one and not after the other: then the new
-- battery had failed too. A change is dated by its first order; doubt_days is how far its orders lie
-- apart. The moment by which the battery was in is known where that order was opened and closed at two moments of
-- one day; orders that carry days alone have none.
WITH ordered AS (
    SELECT l.vin, COALESCE(l.position, p.position, 'main') AS position, l.order_no,
           MIN(l.opened_on) AS opened_on, MAX(COALESCE(l.closed_on, l.opened_on)) AS done_on,
           MAX(CASE WHEN l.opened_at < l.closed_at AND l.opened_on = l.closed_on THEN l.closed_at END) AS fitted_at
    FROM order_line l
    LEFT JOIN order_place p ON p.vin = l.vin AND p.order_no = l.order_no
    WHERE l.operation = 'battery replaced'
    GROUP BY l.vin, COALESCE(l.position, p.position, 'main'), l.order_no
),
called AS (
    SELECT DISTINCT vin, opened_on AS called_on
    FROM order_line
    WHERE cause = 'supply' AND operation IN ('no-start call', 'jump start', 'tow')
),
followed AS (
    SELECT *, LAG(done_on) OVER (PARTITION BY vin, position ORDER BY done_on, order_no) AS before_on
    FROM ordered
),
called_between AS (
    SELECT DISTINCT f.vin, f.position, f.order_no
    FROM followed f
    JOIN called c ON c.vin = f.vin AND days_between(f.before_on, c.called_on) > 3 AND c.called_on <= f.done_on
),
grouped AS (
    SELECT f.*,
           SUM(CASE WHEN f.before_on IS NULL OR c.order_no IS NOT NULL
                      OR days_between(f.before_on, f.done_on) > $same_trouble_days THEN 1 ELSE 0 END) OVER (
               PARTITION BY f.vin, f.position ORDER BY f.done_on, f.order_no
           ) AS change_no
    FROM followed f
    LEFT JOIN called_between c ON c.vin = f.vin AND c.position = f.position AND c.order_no = f.order_no
)
SELECT vin, position, order_no, opened_on, done_on, change_no,
       FIRST_VALUE(done_on) OVER one_change AS changed_on,
       FIRST_VALUE(fitted_at) OVER one_change AS fitted_at,
       FIRST_VALUE(order_no) OVER one_change AS first_order_no,
       days_between(FIRST_VALUE(done_on) OVER one_change, LAST_VALUE(done_on) OVER one_change) AS doubt_days
FROM grouped
WINDOW one_change AS (PARTITION BY vin, position, change_no ORDER BY done_on, order_no
                      ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING)
