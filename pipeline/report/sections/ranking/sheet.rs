//! The ranking as a file.

use super::lines::Trends;
use super::rows::RiskRow;
use crate::sections::depots::room::{Depot, Short};
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};

/// Every battery in service in its order.
pub fn ranking(
    rows: &[RiskRow],
    depots: &[Depot<'_>],
    trends: &Trends,
    style: &ReportStyle,
) -> Sheet {
    let short_of = |row: &RiskRow| {
        let depot = depots.iter().find(|depot| depot.name == row.depot)?;
        depot.short_of.filter(|_| row.waits()).map(Short::as_str)
    };
    Sheet::new(
        "ranking",
        rows,
        vec![
            column("rank", Kind::Integer, |row: &RiskRow| row.rank),
            column("vin", Kind::Text, |row: &RiskRow| style.vin(&row.vin)),
            column("unit_no", Kind::Text, |row: &RiskRow| {
                row.unit_no.as_deref().map(|unit| style.unit(unit))
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
            column("health", Kind::Share, |row: &RiskRow| trends.last(row)),
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
            column("advice", Kind::Text, |row: &RiskRow| row.advice.clone()),
            column("week", Kind::Integer, |row: &RiskRow| row.week),
            column("visit_no", Kind::Integer, |row: &RiskRow| row.visit_no),
            column("keep_at", Kind::Share, |row: &RiskRow| row.keep_at),
            column("waits_for", Kind::Text, short_of),
            column("saving", Kind::Money, |row: &RiskRow| row.saving),
            column("saving_failure_half", Kind::Money, |row: &RiskRow| {
                row.saving_failure_half
            }),
            column("saving_failure_double", Kind::Money, |row: &RiskRow| {
                row.saving_failure_double
            }),
            column("planned_cost", Kind::Money, |row: &RiskRow| {
                row.planned_cost
            }),
            column("under_warranty", Kind::Flag, |row: &RiskRow| {
                row.under_warranty
            }),
            column("reasons", Kind::Text, |row: &RiskRow| row.why(style.units)),
        ],
    )
}
