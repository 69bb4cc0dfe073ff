-- One row is a flood: many distinct codes from many modules at once, with the cause its evidence
-- supports best.
-- Reads floods found and the evidence about them. The evidence is a list of structs of cause, sign,
-- weight and value, strongest first; the cause's weight is the sum, its lead the distance to the next
-- cause. cause_then is the cause by what was known on the flood's own day: what a look back to that day, such
-- as the model's, may use.
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
known_then AS (
    SELECT vin, session_no, FIRST_VALUE(cause ORDER BY weight DESC, cause) AS cause
    FROM (SELECT e.vin, e.session_no, e.cause, SUM(e.weight) AS weight
          FROM flood_evidence e
          JOIN flood_found f ON f.vin = e.vin AND f.session_no = e.session_no
          WHERE e.known_on IS NULL OR e.known_on <= CAST(f.ended_at AS DATE)
          GROUP BY e.vin, e.session_no, e.cause)
    GROUP BY vin, session_no
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
SELECT f.*, p.cause, k.cause AS cause_then, p.weight AS cause_weight, p.weight - COALESCE(p.next_weight, 0) AS cause_lead,
       t.evidence
FROM flood_found f
JOIN placed p ON p.vin = f.vin AND p.session_no = f.session_no AND p.place = 1
JOIN known_then k ON k.vin = f.vin AND k.session_no = f.session_no
JOIN weighed_signs t ON t.vin = f.vin AND t.session_no = f.session_no
