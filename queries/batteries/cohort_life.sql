-- One row is a battery as a member of one cohort; it stands once in each kind of cohort.
-- Reads battery_life and depot_heat. Batteries without a day under observation say nothing and are not
-- here. Heat is the band of the depot's last year.
-- Not kept: nine rows a battery are made faster than held.
WITH life AS (
    SELECT l.*,
           COALESCE(l.make || ' ' || l.model, l.model) AS whole_model,
           CAST(EXTRACT(YEAR FROM l.installed_on) AS VARCHAR) || '-Q' || CAST(EXTRACT(QUARTER FROM l.installed_on) AS VARCHAR) AS install_quarter,
           h.heat_band
    FROM battery_life l
    LEFT JOIN depot_heat h ON h.depot = l.depot
    WHERE l.exited_on > l.entered_on
)
SELECT cohort_kind, COALESCE(cohort, 'not known') AS cohort, vin, position, battery_no,
       entered_on, exited_on, entry_age_days, exit_age_days, failed
FROM (
    SELECT 'fleet' AS cohort_kind, 'all batteries' AS cohort, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'chemistry', chemistry, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'battery group', battery_group, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'model', whole_model, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'powertrain', powertrain, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'depot', depot, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'install quarter', install_quarter, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'source', source, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
    UNION ALL SELECT 'heat', heat_band, vin, position, battery_no, entered_on, exited_on, entry_age_days, exit_age_days, failed FROM life
)
