-- One row is a battery in service with what to do about it and what that is worth.
-- Reads the offers and the choice within each depot's bays and budget. A battery whose replacement pays
-- but that found no place this week is for the next service, as is one that nearly pays (its saving
-- is below nought). Under warranty are those whose day is
-- on record and not longer ago than $warranty_months.
SELECT o.rank, o.vin, o.position, o.battery_no, o.unit_no, o.depot, o.make, o.model, o.powertrain, o.chemistry,
       o.battery_group, o.rating_value, o.rating_standard, o.installed_on, o.evidence, o.uncertainty_days,
       o.age_days, o.tested_on, o.verdict, o.health, o.expected_health, o.rest_voltage_v, o.rule,
       o.health_per_year, o.health_per_year_lower, o.health_per_year_upper, o.supply_floods, o.last_flood_on,
       o.failed_on, o.chance, o.chance_lower, o.chance_upper, o.chance_fit_lower, o.chance_fit_upper,
       o.pays_from, o.saving, o.planned_cost, o.best_age_days,
       o.test_value, o.test_worth, o.test_likely_lower, o.test_likely_upper, o.days_since_health,
       o.reasons, o.failed_until, o.model_version,
       CASE WHEN c.vin IS NOT NULL THEN 'this week'
            WHEN o.wanted IN ('must', 'this week') THEN 'next service'
            ELSE o.wanted END AS action,
       o.evidence IN ('work order', 'register') AND o.age_days <= $warranty_months * 30.4375 AS under_warranty
FROM replacement_offer o
LEFT JOIN replacement_choice c ON c.vin = o.vin AND c.position = o.position
