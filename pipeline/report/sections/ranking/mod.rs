//! The batteries to see to first; the file has every battery in service.

pub mod lines;
pub mod rows;
mod sheet;

use minijinja::context;

use super::depots::room;
use super::{Part, Reading, Section, history_folder};
use crate::ReportError;
use lines::RankedLine;
use rows::RiskRow;

/// The section.
pub const SECTION: Section = Section {
    doing: "ranking the batteries",
    templates: &[("ranking.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Batteries in the first table.
const FIRST: usize = 10;

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let trends = lines::trends(reading).await?;
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let histories = with_history(&ranking, reading);
    let first: Vec<RankedLine> = first_to_act_on(&ranking)
        .map(|row| RankedLine {
            history: histories
                .iter()
                .find(|vehicle| vehicle.vin == row.vin)
                .map(|vehicle| vehicle.folder.clone()),
            ..RankedLine::new(row, None, &trends, reading.style)
        })
        .collect();
    let part = reading.part("ranking.md", context! { first, batteries => ranking.len() })?;
    Ok(part.with_table(sheet::ranking(&ranking, &depots, &trends, reading.style)))
}

/// A vehicle whose history stands beside the report.
pub struct FirstVehicle {
    pub vin: String,
    pub unit_no: Option<String>,
    pub folder: String,
}

/// The vehicles of the first batteries to act on.
pub async fn first_vehicles(reading: &Reading<'_>) -> Result<Vec<FirstVehicle>, ReportError> {
    Ok(with_history(&rows::as_ranked(reading).await?, reading))
}

/// Each once; of two whose names make the same folder the first.
fn with_history(ranking: &[RiskRow], reading: &Reading<'_>) -> Vec<FirstVehicle> {
    let mut vehicles: Vec<FirstVehicle> = Vec::new();
    for row in first_to_act_on(ranking) {
        let called = reading.style.vehicle(row.unit_no.as_deref(), &row.vin);
        let folder = history_folder(&called);
        if vehicles.iter().all(|vehicle| vehicle.folder != folder) {
            vehicles.push(FirstVehicle {
                vin: row.vin.clone(),
                unit_no: row.unit_no.clone(),
                folder,
            });
        }
    }
    vehicles
}

/// The batteries to see to first: those for this week by rank, then those to test.
fn first_to_act_on(ranking: &[RiskRow]) -> impl Iterator<Item = &RiskRow> {
    let of = |action: &'static str| ranking.iter().filter(move |row| row.action == action);
    of("this week").chain(of("test first")).take(FIRST)
}
