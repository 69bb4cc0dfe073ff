//! Rows with what a person typed into a position or size group replaced, where the report is shared.

use super::super::manner::Manner;
use super::views::{Change, CurveStep, Health, LifeFit, Pick, Rate, RiskRow, TestNext};

/// The ranking as the report shows it; the lake keeps it as it stood.
pub fn ranking(rows: &[RiskRow], manner: &Manner) -> Vec<RiskRow> {
    rows.iter()
        .cloned()
        .map(|row| {
            let group = row.battery_group.as_deref();
            RiskRow {
                position: manner.position(&row.position),
                battery_group: group.map(|group| manner.battery_group(group)),
                ..row
            }
        })
        .collect()
}

/// A row about a battery in a position.
pub trait Positioned {
    fn position(&mut self) -> &mut String;
}

impl Positioned for Health {
    fn position(&mut self) -> &mut String {
        &mut self.position
    }
}

impl Positioned for TestNext {
    fn position(&mut self) -> &mut String {
        &mut self.position
    }
}

impl Positioned for Change {
    fn position(&mut self) -> &mut String {
        &mut self.position
    }
}

pub fn replace_positions(rows: &mut [impl Positioned], manner: &Manner) {
    for row in rows {
        *row.position() = manner.position(row.position());
    }
}

/// A row about batteries that may be those of one size group.
pub trait Grouped {
    /// The size group as it was typed, where the row is about one.
    fn group(&mut self) -> Option<&mut String>;
}

impl Grouped for Pick {
    fn group(&mut self) -> Option<&mut String> {
        self.battery_group.as_mut()
    }
}

/// The cohort's name, where its kind is the size group.
fn of_groups<'a>(kind: &str, cohort: &'a mut String) -> Option<&'a mut String> {
    (kind == "battery group" && cohort != "not known").then_some(cohort)
}

impl Grouped for LifeFit {
    fn group(&mut self) -> Option<&mut String> {
        of_groups(&self.cohort_kind, &mut self.cohort)
    }
}

impl Grouped for CurveStep {
    fn group(&mut self) -> Option<&mut String> {
        of_groups(&self.cohort_kind, &mut self.cohort)
    }
}

impl Grouped for Rate {
    fn group(&mut self) -> Option<&mut String> {
        of_groups(&self.cohort_kind, &mut self.cohort)
    }
}

pub fn replace_groups(rows: &mut [impl Grouped], manner: &Manner) {
    for group in rows.iter_mut().filter_map(Grouped::group) {
        *group = manner.battery_group(group);
    }
}
