-- One row is a battery in service with what to do about it, when, and what that is worth.
-- Reads the ranking, the plan of the coming 13 weeks, the prices in its depot's heat and what a test would be worth. advice says
-- what to do on which occasion; week is that week, 1 the seven days after $as_of, and visit_no the visit,
-- which batteries of a vehicle share. saving is what a visit this week saves, its share of the trip and the
-- lost half-day taken off, against leaving the battery until the next service, or for good where none is
-- expected; saving_failure_half and saving_failure_double are the same, were failures to cost half or
-- double. keep_at is the reading, as a share of the rating, from which a tested battery is kept;
-- replace_share the chance that it is replaced on that visit. waits marks what would be seen to this week
-- were there room. action is the advice in a word: 'test first' where a test on arrival is as likely to
-- keep it. Under warranty are those whose day is on record and not longer ago than $warranty_months.
SELECT r.rank, r.vin, r.position, r.battery_no, r.unit_no, r.depot, r.make, r.model, r.powertrain, r.chemistry,
       r.battery_group, r.rating_value, r.rating_standard, r.installed_on, r.evidence, r.uncertainty_days,
       r.age_days, r.tested_on, r.verdict, r.health, r.expected_health, r.rest_voltage_v, r.rule,
       r.health_per_year, r.health_per_year_lower, r.health_per_year_upper, r.supply_floods, r.last_flood_on,
       r.failed_on, r.chance, r.chance_lower, r.chance_upper, r.chance_fit_lower, r.chance_fit_upper,
       b.pays_from, b.saving, b.saving_failure_half, b.saving_failure_double,
       p.planned_cost, p.best_age_days,
       t.net_saving AS test_net_saving, t.saving AS test_saving,
       t.likely_lower AS test_likely_lower, t.likely_upper AS test_likely_upper, t.days_since_health,
       r.reasons, r.failed_until, r.called_on, r.call_open_until, r.since_call, r.calls_alike, r.calls_proved, r.model_version,
       COALESCE(b.advice, 'leave') AS advice, b.week, b.visit_no, b.special_visit, b.service_week,
       COALESCE(b.waits, FALSE) AS waits, b.keep_at, b.replace_share, b.in_doubt,
       CASE WHEN b.week = 1 AND b.advice IN ('test on arrival', 'test at the next service')
             AND b.replace_share < 0.5 THEN 'test first'
            WHEN b.week = 1 THEN 'this week'
            WHEN b.special_visit THEN 'a later week'
            WHEN b.week IS NOT NULL THEN 'next service'
            ELSE 'leave' END AS action,
       r.evidence IN ('work order', 'register') AND r.age_days <= $warranty_months * 30.4375 AS under_warranty
FROM battery_risk r
LEFT JOIN depot_heat h ON h.depot = r.depot
JOIN replacement_policy p ON p.chemistry = COALESCE(r.chemistry, 'not known')
 AND p.heat_band = COALESCE(h.heat_band, 'not known')
LEFT JOIN battery_plan b ON b.vin = r.vin AND b.position = r.position
LEFT JOIN test_value t ON t.vin = r.vin AND t.position = r.position
