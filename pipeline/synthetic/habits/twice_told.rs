//! One job that stands in the records twice.

use super::super::facts::Fact;
use super::super::streams::whole;
use super::{Habit, Telling, shows};
use trade::words::Operation;

/// The order is exported while open, and again when closed some days later.
pub fn open_order(telling: &mut Telling<'_>) {
    let Some(order) = telling.order() else {
        return;
    };
    let (at, order_no) = (order.opened, order.order_no.clone());
    let Some(mut rng) = shows(telling, Habit::OpenOrders, at as u64, 0.15) else {
        return;
    };
    let wait = whole(&mut rng, 1, 4);
    let mut again = telling.records.clone();
    telling.each_line(|line| line.closed = None);
    for record in &mut again {
        record.export_day += wait as i32;
        if let Fact::Work(line) = &mut record.fact {
            line.closed = line.closed.map(|closed| closed + wait * 1440);
        }
    }
    telling.records.append(&mut again);
    let told = format!("open, then closed {wait} days later");
    telling.note(
        Habit::OpenOrders,
        None,
        at,
        &order_no,
        told,
        "one job".to_owned(),
    );
}

/// The fleet's own system has the shop's job a day later, under its own number.
pub fn other_system(telling: &mut Telling<'_>) {
    let Some(line) = telling.replacement() else {
        return;
    };
    let (at, order_no, position) = (line.opened, line.order_no.clone(), line.position);
    let Some(mut rng) = shows(telling, Habit::TwoSystems, at as u64, 0.12) else {
        return;
    };
    let number = format!("FS{}", 400_000 + whole(&mut rng, 0, 599_999));
    let mut copies: Vec<_> = telling
        .records
        .iter()
        .filter(|record| match &record.fact {
            Fact::Work(line) => line.operation == Operation::BatteryReplaced,
            _ => false,
        })
        .cloned()
        .collect();
    copies.truncate(1);
    for record in &mut copies {
        record.export_day += 1;
        if let Fact::Work(line) = &mut record.fact {
            line.order_no.clone_from(&number);
            line.opened += 1440;
            line.closed = line.closed.map(|closed| closed + 1440);
            line.technician = "";
        }
    }
    telling.records.append(&mut copies);
    telling.note(
        Habit::TwoSystems,
        position,
        at,
        &order_no,
        number,
        "one job".to_owned(),
    );
}
