-- One row is a replacement by order: what the orders that made it say of why.
-- Reads changes and all lines of their orders, for the complaint often stands on another line than the
-- replacement. The cause is the replacing line's own, else that of any line.
WITH line AS (
    SELECT c.vin, c.position, c.changed_on, l.cause, visit_reason(l.complaint) AS reason,
           l.operation = 'battery replaced' AND COALESCE(l.position, c.position) = c.position AS replaces,
           l.operation IN ('no-start call', 'jump start', 'tow') AS calls
    FROM battery_change c
    JOIN order_line l ON l.vin = c.vin AND l.order_no = c.order_no
),
told AS (
    SELECT vin, position, changed_on,
           BOOL_OR(replaces AND cause IS NOT NULL) AS replacing_line_tells,
           BOOL_OR(replaces AND cause = 'supply') AS replaced_for_supply,
           BOOL_OR(COALESCE(cause = 'supply', FALSE)) AS any_supply,
           BOOL_OR(cause IS NOT NULL) AS any_cause,
           BOOL_OR(COALESCE(cause = 'charging', FALSE)) AS any_charging,
           BOOL_OR(COALESCE(reason = 'starting trouble', FALSE) OR calls) AS says_starting,
           BOOL_OR(COALESCE(reason = 'charging trouble', FALSE)) AS says_charging,
           BOOL_OR(COALESCE(reason = 'planned', FALSE)) AS says_planned,
           BOOL_OR(COALESCE(reason = 'other trouble', FALSE)) AS says_other_trouble
    FROM line
    GROUP BY vin, position, changed_on
)
SELECT vin, position, changed_on, says_starting,
       says_planned AND NOT says_starting AND NOT says_other_trouble AS planned,
       (says_charging OR any_charging) AND NOT says_starting AS charging_trouble,
       CASE WHEN replacing_line_tells THEN replaced_for_supply
            WHEN any_cause THEN any_supply
            ELSE says_starting END
         AND (says_starting OR says_other_trouble) AS supply_complaint
FROM told
