//! The weekly report's tables as files.

use super::super::manner::Manner;
use super::super::table_files::{Kind, Sheet, column};
use super::depots::{Depot, Short};
use super::views::{Change, Flood, Pick, Quarantined, Rate, Recovery, RiskRow, TestNext};
use trade::words::Action;

/// Every battery in service in its order.
pub fn ranking(rows: &[RiskRow], depots: &[Depot<'_>], manner: &Manner) -> Sheet {
    let short_of = |row: &RiskRow| {
        let depot = depots.iter().find(|depot| depot.name == row.depot)?;
        depot.short_of.filter(|_| row.waits()).map(Short::as_str)
    };
    Sheet::new(
        "ranking",
        rows,
        vec![
            column("rank", Kind::Integer, |row: &RiskRow| row.rank),
            column("vin", Kind::Text, |row: &RiskRow| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &RiskRow| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &RiskRow| row.depot.clone()),
            column("make", Kind::Text, |row: &RiskRow| row.make.clone()),
            column("model", Kind::Text, |row: &RiskRow| row.model.clone()),
            column("powertrain", Kind::Text, |row: &RiskRow| {
                row.powertrain.clone()
            }),
            column("position", Kind::Text, |row: &RiskRow| row.position.clone()),
            column("battery_group", Kind::Text, |row: &RiskRow| {
                row.battery_group.clone()
            }),
            column("chemistry", Kind::Text, |row: &RiskRow| {
                row.chemistry.clone()
            }),
            column("rating_a", Kind::Integer, |row: &RiskRow| row.rating_value),
            column("rating_standard", Kind::Text, |row: &RiskRow| {
                row.rating_standard.clone()
            }),
            column("installed_on", Kind::Day, |row: &RiskRow| {
                row.installed_on.clone()
            }),
            column("evidence", Kind::Text, |row: &RiskRow| row.evidence.clone()),
            column("within_days", Kind::Integer, |row: &RiskRow| {
                row.uncertainty_days
            }),
            column("age_days", Kind::Integer, |row: &RiskRow| row.age_days),
            column("chance", Kind::Share, |row: &RiskRow| row.chance),
            column("chance_lower", Kind::Share, |row: &RiskRow| {
                row.chance_lower
            }),
            column("chance_upper", Kind::Share, |row: &RiskRow| {
                row.chance_upper
            }),
            column("tested_on", Kind::Day, |row: &RiskRow| {
                row.tested_on.clone()
            }),
            column("verdict", Kind::Text, |row: &RiskRow| row.verdict.clone()),
            column("health", Kind::Share, |row: &RiskRow| row.health),
            column("health_per_year", Kind::Share, |row: &RiskRow| {
                row.health_per_year
            }),
            column("rest_voltage_v", Kind::Number(2), |row: &RiskRow| {
                row.rest_voltage_v
            }),
            column("supply_floods", Kind::Integer, |row: &RiskRow| {
                row.supply_floods
            }),
            column("last_flood_on", Kind::Day, |row: &RiskRow| {
                row.last_flood_on.clone()
            }),
            column("failed_on", Kind::Day, |row: &RiskRow| {
                row.failed_on.clone()
            }),
            column("action", Kind::Text, |row: &RiskRow| row.action.clone()),
            column("waits_for", Kind::Text, short_of),
            column("saving", Kind::Money, |row: &RiskRow| row.saving),
            column("planned_cost", Kind::Money, |row: &RiskRow| {
                row.planned_cost
            }),
            column("under_warranty", Kind::Flag, |row: &RiskRow| {
                row.under_warranty
            }),
            column("reasons", Kind::Text, |row: &RiskRow| row.why(manner.units)),
        ],
    )
}

/// Each depot's limits, what this week's plan takes of them, and what waits.
pub fn depots(rows: &[Depot<'_>]) -> Sheet {
    let count = |number: usize| number as f64;
    Sheet::new(
        "depots",
        rows,
        vec![
            column("depot", Kind::Text, |row: &Depot<'_>| row.name.to_owned()),
            column("batteries", Kind::Integer, |row: &Depot<'_>| {
                count(row.rows.len())
            }),
            column("this_week", Kind::Integer, |row: &Depot<'_>| {
                count(row.bays_taken)
            }),
            column("bays", Kind::Integer, |row: &Depot<'_>| count(row.bays)),
            column("cost", Kind::Money, |row: &Depot<'_>| row.spent),
            column("budget", Kind::Money, |row: &Depot<'_>| row.budget),
            column("saving", Kind::Money, |row: &Depot<'_>| row.saving()),
            column("test_first", Kind::Integer, |row: &Depot<'_>| {
                count(row.of("test first"))
            }),
            column("next_service", Kind::Integer, |row: &Depot<'_>| {
                count(row.of("next service"))
            }),
            column("would_pay_but_wait", Kind::Integer, |row: &Depot<'_>| {
                count(row.waiting)
            }),
            column("their_saving", Kind::Money, |row: &Depot<'_>| {
                row.waiting_worth
            }),
            column("wait_for", Kind::Text, |row: &Depot<'_>| {
                row.short_of.map(Short::as_str)
            }),
        ],
    )
}

/// What each depot needs for this week's replacements.
pub fn pick_list(rows: &[Pick]) -> Sheet {
    Sheet::new(
        "pick_list",
        rows,
        vec![
            column("depot", Kind::Text, |row: &Pick| row.depot.clone()),
            column("battery_group", Kind::Text, |row: &Pick| {
                row.battery_group.clone()
            }),
            column("chemistry", Kind::Text, |row: &Pick| row.chemistry.clone()),
            column("rating_standard", Kind::Text, |row: &Pick| {
                row.rating_standard.clone()
            }),
            column("minimum_rating_a", Kind::Integer, |row: &Pick| {
                row.minimum_rating
            }),
            column("batteries", Kind::Integer, |row: &Pick| row.batteries),
        ],
    )
}

/// The batteries to test, the most valuable first.
pub fn test_first(rows: &[TestNext], manner: &Manner) -> Sheet {
    Sheet::new(
        "test_first",
        rows,
        vec![
            column("rank", Kind::Integer, |row: &TestNext| row.rank),
            column("vin", Kind::Text, |row: &TestNext| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &TestNext| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &TestNext| row.depot.clone()),
            column("position", Kind::Text, |row: &TestNext| {
                row.position.clone()
            }),
            column("worth", Kind::Money, |row: &TestNext| row.worth),
            column("pays", Kind::Flag, |row: &TestNext| row.pays),
            column("why", Kind::Text, |row: &TestNext| row.why()),
        ],
    )
}

/// The floods of the last seven days.
pub fn floods(rows: &[Flood], manner: &Manner) -> Sheet {
    Sheet::new(
        "floods",
        rows,
        vec![
            column("vin", Kind::Text, |row: &Flood| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Flood| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Flood| row.depot.clone()),
            column("model", Kind::Text, |row: &Flood| row.model.clone()),
            column("day", Kind::Day, |row: &Flood| row.day.clone()),
            column("codes", Kind::Integer, |row: &Flood| row.codes),
            column("modules", Kind::Integer, |row: &Flood| row.modules),
            column("supply_voltage_v", Kind::Number(2), |row: &Flood| {
                row.supply_voltage_v
            }),
            column("cause", Kind::Text, |row: &Flood| row.cause.clone()),
            column("p_value", Kind::Number(8), |row: &Flood| row.p_value),
            column("evidence", Kind::Text, |row: &Flood| row.because()),
        ],
    )
}

/// The recoveries that stand open.
pub fn recoveries(rows: &[Recovery], proven_days: i64, manner: &Manner) -> Sheet {
    Sheet::new(
        "recoveries",
        rows,
        vec![
            column("vin", Kind::Text, |row: &Recovery| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Recovery| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Recovery| row.depot.clone()),
            column("opened_on", Kind::Day, |row: &Recovery| {
                row.opened_on.clone()
            }),
            column("opened_by", Kind::Text, |row: &Recovery| {
                row.opened_by.clone()
            }),
            column("days_standing", Kind::Integer, |row: &Recovery| {
                row.days_standing
            }),
            column("planned", Kind::Text, |row: &Recovery| {
                row.standing.planned.map(Action::as_str)
            }),
            column("next_step", Kind::Text, |row: &Recovery| {
                row.standing.to_do(proven_days)
            }),
            column("caution", Kind::Text, |row: &Recovery| {
                Some(row.standing.caution()).filter(|caution| !caution.is_empty())
            }),
        ],
    )
}

/// Failure rates of the last 52 weeks.
pub fn rates(rows: &[Rate]) -> Sheet {
    Sheet::new(
        "failure_rates",
        rows,
        vec![
            column("cohort_kind", Kind::Text, |row: &Rate| {
                row.cohort_kind.clone()
            }),
            column("cohort", Kind::Text, |row: &Rate| row.cohort.clone()),
            column("batteries", Kind::Integer, |row: &Rate| row.batteries),
            column("failures", Kind::Integer, |row: &Rate| row.failures),
            column("battery_months", Kind::Number(1), |row: &Rate| {
                row.battery_months
            }),
            column("failures_per_1000_months", Kind::Number(2), |row: &Rate| {
                row.failures_per_1000_months
            }),
            column("lower", Kind::Number(2), |row: &Rate| row.lower),
            column("upper", Kind::Number(2), |row: &Rate| row.upper),
            column("evened_out", Kind::Number(2), |row: &Rate| row.shrunk_rate),
            column("expected_failures", Kind::Number(2), |row: &Rate| {
                row.expected_failures
            }),
            column("ratio", Kind::Number(2), |row: &Rate| row.ratio),
            column("ratio_lower", Kind::Number(2), |row: &Rate| row.ratio_lower),
            column("ratio_upper", Kind::Number(2), |row: &Rate| row.ratio_upper),
            column("ratio_adjusted_p", Kind::Number(4), |row: &Rate| {
                row.ratio_adjusted_p
            }),
            column("stands_out", Kind::Flag, |row: &Rate| row.stands_out),
        ],
    )
}

/// Rows in quarantine by reason.
pub fn quarantined(rows: &[Quarantined]) -> Sheet {
    Sheet::new(
        "quarantine",
        rows,
        vec![
            column("dump", Kind::Text, |row: &Quarantined| {
                row.dump_kind.clone()
            }),
            column("shop", Kind::Text, |row: &Quarantined| row.shop.clone()),
            column("field", Kind::Text, |row: &Quarantined| row.field.clone()),
            column("reason", Kind::Text, |row: &Quarantined| row.reason.clone()),
            column("rows", Kind::Integer, |row: &Quarantined| row.rows),
        ],
    )
}

/// Batteries whose place in the plan is not what the last report said.
pub fn changes(rows: &[Change], manner: &Manner) -> Sheet {
    Sheet::new(
        "changes",
        rows,
        vec![
            column("change", Kind::Text, |row: &Change| row.change.clone()),
            column("vin", Kind::Text, |row: &Change| manner.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &Change| {
                row.unit_no.as_deref().map(|unit| manner.unit(unit))
            }),
            column("depot", Kind::Text, |row: &Change| row.depot.clone()),
            column("position", Kind::Text, |row: &Change| row.position.clone()),
            column("rank", Kind::Integer, |row: &Change| row.rank),
            column("action", Kind::Text, |row: &Change| row.action.clone()),
            column("rank_before", Kind::Integer, |row: &Change| row.rank_before),
            column("action_before", Kind::Text, |row: &Change| {
                row.action_before.clone()
            }),
        ],
    )
}
