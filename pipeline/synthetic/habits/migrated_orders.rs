//! A shop's change of system: a year of its orders comes again under new numbers.

use super::super::desk::Record;
use super::super::facts::{Fact, Work, day_of};
use super::super::life::Life;
use super::{Habit, Note};

/// The day of the change, for the shops that change.
pub fn migration_day(life: &Life) -> Option<i32> {
    const CHANGING: [usize; 3] = [1, 2, 5];
    let world = &life.world;
    let window = world.last_day - world.window_start;
    CHANGING
        .contains(&life.depot.shop)
        .then(|| world.window_start + window * 3 / 5)
}

/// The vehicle's orders of the year before as they were told, under new numbers, once that day lies in `days`.
pub fn migrated(
    life: &Life,
    told: &[Work],
    days: std::ops::RangeInclusive<i32>,
    notes: &mut Vec<Note>,
) -> Vec<Record> {
    let Some(day) = migration_day(life).filter(|day| days.contains(day)) else {
        return Vec::new();
    };
    let mut records = Vec::new();
    let mut last_noted = String::new();
    for line in told {
        // Only what is closed comes along.
        if line.closed.is_none() || !(day - 365..day).contains(&day_of(line.opened)) {
            continue;
        }
        let mut again = line.clone();
        again.order_no = format!("M{}", line.order_no.replace('-', ""));
        if last_noted != line.order_no {
            last_noted.clone_from(&line.order_no);
            notes.push(Note {
                habit: Habit::MigratedOrders,
                position: line.position,
                at: line.opened,
                id: line.order_no.clone(),
                told: again.order_no.clone(),
                truly: "one job".to_owned(),
            });
        }
        records.push(Record {
            export_day: day,
            fact: Fact::Work(again),
        });
    }
    records
}
