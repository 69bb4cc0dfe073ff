-- One row is a battery tested at least three times on different days: its robust trend.
-- Reads battery_condition. Health is the share of rated cranking ability; the slope is Theil-Sen in
-- shares a year with its 95 % interval, and the forecast is the age at which the line falls below
-- $worn_below, null where it does not fall.
SELECT vin, position, battery_no,
       trend['points'] AS tests,
       trend['slope'] AS health_per_year,
       trend['slope_lower'] AS health_per_year_lower,
       trend['slope_upper'] AS health_per_year_upper,
       CASE WHEN trend['slope'] < 0
            THEN GREATEST(($worn_below - trend['intercept']) / trend['slope'] * 365.25, 0) END AS worn_at_age_days
FROM (
    SELECT vin, position, battery_no, robust_slope(age_days / 365.25, health) AS trend
    FROM battery_condition
    WHERE health IS NOT NULL AND verdict <> 'discharged'
    GROUP BY vin, position, battery_no
    HAVING COUNT(DISTINCT tested_on) >= 3
)
