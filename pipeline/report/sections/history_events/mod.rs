//! Everything on record of the vehicle, the newest first.

use minijinja::context;

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::history::events::Event;
use crate::history::record::{EVENTS, Record};
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section<Record> = Section {
    doing: "reading the vehicle's history",
    templates: &[("history_events.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_, Record>) -> Result<Part, ReportError> {
    let events = &reading.about.events;
    let part = reading.part(
        "history_events.md",
        context! {
            events => &events[..events.len().min(EVENTS)],
            all_events => events.len(),
        },
    )?;
    Ok(part.with_table(sheet(events)))
}

fn sheet(events: &[Event]) -> Sheet {
    Sheet::new(
        "events",
        events,
        vec![
            column("day", Kind::Day, |row: &Event| row.day.clone()),
            column("what", Kind::Text, |row: &Event| row.what.clone()),
            column("details", Kind::Text, |row: &Event| row.details.clone()),
            column("shop", Kind::Text, |row: &Event| row.shop.clone()),
        ],
    )
}
