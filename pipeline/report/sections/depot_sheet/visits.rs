//! What is to be done at a depot this week, battery by battery, in the order of the visits.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::sections::ranking::rows::RiskRow;
use crate::sections::recoveries::Recovery;
use crate::style::ReportStyle;
use crate::table_files::{Kind, Sheet, column};
use crate::words::visit;
use trade::words::Powertrain;

/// One battery to see to on one visit.
#[derive(Debug, Clone, Serialize)]
pub struct Job {
    pub depot: String,
    /// The place of its visit among the depot's; batteries of one vehicle share a visit.
    pub visit: usize,
    pub rank: i64,
    pub unit: String,
    pub vin: String,
    pub model: String,
    pub position: String,
    pub bring: String,
    pub to_do: String,
    /// Share of its rating from which it is kept.
    pub keep_at: Option<f64>,
    /// The open recovery's next step, once a vehicle.
    pub recovery: Option<String>,
    pub high_voltage: bool,
}

/// The jobs of this week by depot: what has failed first, then the order of the plan.
pub fn jobs(
    ranking: &[RiskRow],
    recoveries: &[Recovery],
    proven_days: i64,
    style: &ReportStyle,
) -> Vec<Job> {
    let mut rows: Vec<&RiskRow> = ranking
        .iter()
        .filter(|row| matches!(row.action.as_str(), "this week" | "test first"))
        .collect();
    // Where a vehicle stands first, all its batteries stand.
    let mut turns: BTreeMap<&str, (bool, i64)> = BTreeMap::new();
    for row in &rows {
        let turn = (row.failed_on.is_none(), row.rank);
        let first = turns.entry(&row.vin).or_insert(turn);
        *first = turn.min(*first);
    }
    rows.sort_by_key(|&row| (&row.depot, turns[row.vin.as_str()], &row.vin, row.rank));
    let mut jobs: Vec<Job> = Vec::with_capacity(rows.len());
    let mut before: Option<&RiskRow> = None;
    for row in rows {
        let same_depot = before.is_some_and(|before| before.depot == row.depot);
        let same_vehicle = same_depot && before.is_some_and(|before| before.vin == row.vin);
        let last = jobs.last().map_or(0, |job| job.visit);
        let recovery = recoveries
            .iter()
            .find(|case| case.vin == row.vin)
            .filter(|_| !same_vehicle)
            .and_then(|case| case.standing.to_do(proven_days));
        let asked = visit::Job {
            battery_group: row.battery_group.as_deref(),
            chemistry: row.chemistry.as_deref(),
            rating_value: row.rating_value,
            rating_standard: row.rating_standard.as_deref(),
            failed_on: row.failed_on.as_deref(),
            charge_first: row.to_be_charged_first(),
            test_first: row.action == "test first",
            keep_at: row.keep_at.filter(|_| row.failed_on.is_none()),
            under_warranty: row.under_warranty == Some(true),
        };
        jobs.push(Job {
            depot: row.depot.clone(),
            visit: match (same_depot, same_vehicle) {
                (false, _) => 1,
                (true, true) => last,
                (true, false) => last + 1,
            },
            rank: row.rank,
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            vin: style.vin(&row.vin),
            model: [row.make.as_deref(), row.model.as_deref()]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join(" "),
            position: row.position.clone(),
            bring: visit::bring(&asked),
            to_do: visit::to_do(&asked),
            keep_at: asked.keep_at,
            recovery,
            high_voltage: row
                .powertrain
                .as_deref()
                .and_then(|powertrain| Powertrain::parse(powertrain).ok())
                .is_some_and(|powertrain| powertrain != Powertrain::Combustion),
        });
        before = Some(row);
    }
    jobs
}

/// The jobs as a file, with room for what was found.
pub fn sheet(jobs: &[Job]) -> Sheet {
    let nothing = |_: &Job| None::<String>;
    Sheet::new(
        "depot_sheets",
        jobs,
        vec![
            column("depot", Kind::Text, |job: &Job| job.depot.clone()),
            column("visit", Kind::Integer, |job: &Job| job.visit as i64),
            column("unit", Kind::Text, |job: &Job| job.unit.clone()),
            column("vin", Kind::Text, |job: &Job| job.vin.clone()),
            column("model", Kind::Text, |job: &Job| job.model.clone()),
            column("position", Kind::Text, |job: &Job| job.position.clone()),
            column("bring", Kind::Text, |job: &Job| job.bring.clone()),
            column("to_do", Kind::Text, |job: &Job| job.to_do.clone()),
            column("keep_at", Kind::Share, |job: &Job| job.keep_at),
            column("recovery", Kind::Text, |job: &Job| job.recovery.clone()),
            column("high_voltage", Kind::Flag, |job: &Job| job.high_voltage),
            column("reading", Kind::Text, nothing),
            column("kept_or_replaced", Kind::Text, nothing),
            column("done_on", Kind::Day, nothing),
            column("done_by", Kind::Text, nothing),
        ],
    )
}
