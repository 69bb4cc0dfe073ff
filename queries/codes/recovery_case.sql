-- One row is a recovery: from the first flood of the supply or no-start to the proof that the vehicle
-- is well, each step with its day or missing.
-- Reads what happened to each vehicle. The steps are dated by recovery_cases: a case is proven by a
-- scan without a code of the supply, all monitors ready, $proven_days after supply and codes were put
-- right or $proven_km after the clear.
-- next_step is what is to be done next (RecoveryStep), cautions what to mind (RecoveryCaution), both
-- null once the case is over.
-- A case not proven ends with the vehicle's next case or when it leaves the fleet; else it is open.
WITH told AS (
    SELECT vin, UNNEST(recovery_cases(happenings, $case_days, $proven_days, $proven_km)) AS one
    FROM (
        SELECT vin,
               ARRAY_AGG(named_struct(
                   'event', event, 'began_at', began_at, 'done_at', done_at,
                   'any_code', any_code, 'supply_code', supply_code, 'latched_code', latched_code,
                   'monitors_ready', monitors_ready, 'km_since_clear', km_since_clear
               )) AS happenings
        FROM recovery_event
        GROUP BY vin
        HAVING BOOL_OR(event IN ('flood', 'no-start'))
    )
),
dated AS (
    SELECT vin,
           ROW_NUMBER() OVER (PARTITION BY vin ORDER BY one['opened_at']) AS case_no,
           LEAD(one['opened_at']) OVER (PARTITION BY vin ORDER BY one['opened_at']) AS next_opened_at,
           one['opened_at'] AS opened_at,
           CAST(one['opened_at'] AS DATE) AS opened_on,
           one['opened_by'] AS opened_by,
           CAST(one['supply_tested_at'] AS DATE) AS supply_tested_on,
           CAST(one['supply_restored_at'] AS DATE) AS supply_restored_on,
           CAST(one['codes_saved_at'] AS DATE) AS codes_saved_on,
           CAST(one['codes_cleared_at'] AS DATE) AS codes_cleared_on,
           CAST(one['latched_cleared_at'] AS DATE) AS latched_cleared_on,
           CAST(one['proven_at'] AS DATE) AS proven_on,
           one['latched_standing'] AS latched_standing,
           one['supply_codes_seen'] AS supply_codes_seen,
           one['cleared_unsaved'] AS cleared_unsaved
    FROM told
),
ended AS (
    SELECT d.*, v.make, v.model, v.depot, v.unit_no, v.powertrain, v.chemistry,
           CASE WHEN d.proven_on IS NOT NULL THEN 'proven'
                WHEN d.next_opened_at IS NOT NULL THEN 'another case'
                WHEN v.gone_on <= $as_of THEN 'left fleet' END AS ended,
           d.opened_at <= t.last_fit_at AS found_fit
    FROM dated d
    LEFT JOIN fleet_vehicle v ON v.vin = d.vin
    LEFT JOIN (
        SELECT vin, MAX(tested_at) AS last_fit_at FROM test_verdict WHERE verdict = 'fit' GROUP BY vin
    ) t ON t.vin = d.vin
),
-- What is to be done next, in the order of a recovery.
stepped AS (
    SELECT *,
           CASE WHEN ended IS NOT NULL THEN NULL
                WHEN supply_tested_on IS NULL AND supply_restored_on IS NULL THEN 'charge and test'
                WHEN supply_restored_on IS NULL AND NOT COALESCE(found_fit, FALSE) THEN 'restore supply'
                WHEN supply_restored_on IS NULL THEN 'check charging'
                WHEN codes_saved_on IS NULL AND codes_cleared_on IS NULL THEN 'save codes'
                WHEN codes_cleared_on IS NULL AND supply_codes_seen THEN 'clear codes'
                WHEN latched_standing THEN 'look for protected clear'
                ELSE 'prove by scan' END AS next_step
    FROM ended
)
SELECT vin, case_no, unit_no, depot, make, model, opened_on, opened_by,
       supply_tested_on, supply_restored_on, codes_saved_on, codes_cleared_on, latched_cleared_on, proven_on,
       ended,
       ended IS NULL AS open,
       CASE WHEN ended IS NULL THEN days_between(opened_on, $as_of) END AS days_standing,
       next_step, chemistry,
       CASE WHEN ended IS NULL THEN array_except(make_array(
            CASE WHEN codes_saved_on IS NULL AND codes_cleared_on IS NULL THEN 'save before clearing' END,
            CASE WHEN cleared_unsaved THEN 'cleared unsaved' END,
            CASE WHEN supply_restored_on IS NULL AND chemistry IN ('AGM', 'gel', 'lithium') THEN 'suitable charger' END,
            CASE WHEN powertrain IN ('hybrid', 'plug-in hybrid', 'battery electric', 'fuel cell') THEN 'high voltage' END
       ), make_array(NULL)) END AS cautions
FROM stepped
