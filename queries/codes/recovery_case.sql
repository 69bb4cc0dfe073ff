-- One row is a recovery: from the first flood of the supply or no-start to the proof that the vehicle
-- is well, each step with its day or missing.
-- Reads what happened to each vehicle. What belongs to a case, what proves it and what is to be done next
-- is decided by recovery_cases (trade/recovery.rs) with $case_days, $proven_days and $proven_km; steps are
-- dated by the first of their kind, and comebacks counts trouble after the supply was restored.
-- next_step is what is to be done next (RecoveryStep), cautions what to mind (RecoveryCaution), both
-- null once the case is over.
-- A case not proven ends with the vehicle's next case, when it leaves the fleet, or, as not followed up,
-- $follow_up_days after its last trouble; else it is open.
WITH told AS (
    SELECT vin, UNNEST(recovery_cases(happenings, $case_days, $proven_days, $proven_km)) AS one
    FROM (
        SELECT vin,
               ARRAY_AGG(named_struct(
                   'event', event, 'began_at', began_at, 'done_at', done_at, 'found_fit', found_fit,
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
           CAST(one['last_trouble_at'] AS DATE) AS last_trouble_on,
           one['comebacks'] AS comebacks,
           one['next_step'] AS next_step,
           one['save_first'] AS save_first,
           one['cleared_unsaved'] AS cleared_unsaved
    FROM told
),
ended AS (
    SELECT d.*, v.make, v.model, v.depot, v.unit_no, v.powertrain, v.chemistry,
           CASE WHEN d.proven_on IS NOT NULL THEN 'proven'
                WHEN d.next_opened_at IS NOT NULL THEN 'another case'
                WHEN v.gone_on <= $as_of THEN 'left fleet'
                WHEN days_between(d.last_trouble_on, $as_of) > $follow_up_days THEN 'not followed up' END AS ended
    FROM dated d
    LEFT JOIN fleet_vehicle v ON v.vin = d.vin
)
SELECT vin, case_no, unit_no, depot, make, model, opened_on, opened_by,
       supply_tested_on, supply_restored_on, codes_saved_on, codes_cleared_on, latched_cleared_on, proven_on,
       ended,
       ended IS NULL AS open,
       CASE WHEN ended IS NULL THEN days_between(opened_on, $as_of) END AS days_standing,
       last_trouble_on, comebacks,
       CASE WHEN ended IS NULL THEN next_step END AS next_step, chemistry, NOT save_first AS codes_kept,
       CASE WHEN ended IS NULL THEN array_except(make_array(
            CASE WHEN save_first THEN 'save before clearing' END,
            CASE WHEN cleared_unsaved THEN 'cleared unsaved' END,
            CASE WHEN next_step IN ('charge and test', 'restore supply', 'check charging') AND chemistry IN ('AGM', 'gel', 'lithium') THEN 'suitable charger' END,
            CASE WHEN powertrain IN ('hybrid', 'plug-in hybrid', 'battery electric', 'fuel cell') THEN 'high voltage' END
       ), make_array(NULL)) END AS cautions
FROM ended
