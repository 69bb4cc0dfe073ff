-- One row is a flood: many distinct codes from many modules at once, with the cause its evidence
-- supports best.
-- Reads floods found and the evidence about them. The evidence is a list of structs of cause, sign,
-- weight and value, strongest first; the cause's weight is the sum, its lead the distance to the next
-- cause.
WITH weighed AS (
    SELECT vin, session_no, cause, SUM(weight) AS weight
    FROM flood_evidence
    GROUP BY vin, session_no, cause
),
placed AS (
    SELECT *,
           ROW_NUMBER() OVER (PARTITION BY vin, session_no ORDER BY weight DESC, cause) AS place,
           LEAD(weight) OVER (PARTITION BY vin, session_no ORDER BY weight DESC, cause) AS next_weight
    FROM weighed
),
weighed_signs AS (
    SELECT e.vin, e.session_no,
           ARRAY_AGG(named_struct('cause', e.cause, 'sign', e.sign, 'weight', e.weight, 'value', e.value)
                     ORDER BY e.weight DESC, e.cause, e.sign) AS evidence
    FROM flood_evidence e
    JOIN placed p ON p.vin = e.vin AND p.session_no = e.session_no AND p.place = 1
    -- That nothing speaks for another cause is said only where that is the finding.
    WHERE e.cause <> 'unexplained' OR p.cause = 'unexplained'
    GROUP BY e.vin, e.session_no
)
SELECT f.*, p.cause, p.weight AS cause_weight, p.weight - COALESCE(p.next_weight, 0) AS cause_lead,
       t.evidence
FROM flood_found f
JOIN placed p ON p.vin = f.vin AND p.session_no = f.session_no AND p.place = 1
JOIN weighed_signs t ON t.vin = f.vin AND t.session_no = f.session_no
