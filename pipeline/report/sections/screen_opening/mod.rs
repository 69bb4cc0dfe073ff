//! The title and the screening in a few lines.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::cells;
use crate::screen::judged::{Answer, Judged};
use crate::style::ReportStyle;

/// The section.
pub const SECTION: Section<Judged> = Section {
    doing: "screening",
    templates: &[("screen_opening.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Judged>) -> Result<Part, ReportError> {
    let answers = &reading.about.answers;
    let short_version = short_version(answers, reading.style);
    let part = reading.part(
        "screen_opening.md",
        context! {
            short_version,
            lines => answers.len(),
            vehicles => answers.iter().filter(|answer| answer.is_vehicle).count(),
            by_price => answers.iter().any(|answer| answer.of_price().is_some()),
        },
    )?;
    Ok(part.with_short_version(short_version))
}

fn short_version(answers: &[Answer], style: &ReportStyle) -> Vec<String> {
    let vehicles: Vec<&Answer> = answers.iter().filter(|answer| answer.is_vehicle).collect();
    let of = |disposition: &str| {
        vehicles
            .iter()
            .filter(|answer| answer.vehicle.disposition == disposition)
            .count()
    };
    let money = |amount: f64| cells::money(&style.currency, amount);
    let mut lines = vec![format!(
        "Of {}: {} ready, {} to put right, {} to check first, {} to drive and scan again, {} to hold back.",
        cells::counted(vehicles.len(), "vehicle", "vehicles"),
        of("ready"),
        of("put right"),
        of("check first"),
        of("drive and scan again"),
        of("hold back")
    )];
    let costs: Vec<f64> = vehicles
        .iter()
        .filter_map(|answer| Some(answer.vehicle.cost?.expected))
        .collect();
    let unknown = vehicles.len() - costs.len();
    lines.push(format!(
        "To put right {} of which something is on record is expected to cost {}.",
        match costs.len() {
            1 => "the one".to_owned(),
            several => format!("the {several}"),
        },
        money(costs.iter().sum()),
    ));
    if let Some((first, cost)) = vehicles
        .first()
        .and_then(|first| Some((first, first.vehicle.cost?)))
    {
        let of_price = first
            .of_price()
            .map(|share| format!(", {} of the asking price", cells::per_cent(share)))
            .unwrap_or_default();
        lines.push(format!(
            "Most is at stake at {}: {} expected ({}–{}){of_price}; {}: {}.",
            first.called(),
            money(cost.expected),
            money(cost.lower),
            money(cost.upper),
            first.vehicle.disposition,
            first.vehicle.reason
        ));
    }
    if unknown > 0 {
        lines.push(format!(
            "Nothing is on record of {}: no price is given, but the one check that would settle most.",
            cells::counted(unknown, "vehicle", "vehicles")
        ));
    }
    let not_used: Vec<String> = ["blank", "listed twice", "no VIN"]
        .iter()
        .map(|kind| {
            let times = answers
                .iter()
                .filter(|answer| answer.vehicle.disposition == *kind)
                .count();
            (times, kind)
        })
        .filter(|(times, _)| *times > 0)
        .map(|(times, kind)| format!("{times} {kind}"))
        .collect();
    if !not_used.is_empty() {
        lines.push(format!(
            "{} of the list named no further vehicle: {}.",
            cells::counted(answers.len() - vehicles.len(), "line", "lines"),
            not_used.join(", ")
        ));
    }
    lines
}
