//! Orders that say something else than what was done, or say it on another line.

use super::super::events::What;
use super::super::facts::{Fact, Work};
use super::{Habit, Telling, shows};
use trade::words::{Operation, OrderCause};

fn opened(telling: &Telling<'_>) -> Option<(u64, i64, String)> {
    let order = telling.order()?;
    Some((order.opened as u64, order.opened, order.order_no.clone()))
}

/// No line says that it is about an auxiliary battery.
pub fn auxiliary_unnamed(telling: &mut Telling<'_>) {
    let Some((_, at, order_no)) = opened(telling) else {
        return;
    };
    let mut hidden = None;
    telling.each_line(|line| {
        if line.position.is_some_and(|position| position != "main") {
            hidden = line.position.take();
        }
    });
    if let Some(position) = hidden {
        let truly = position.to_owned();
        let habit = Habit::UnnamedAuxiliaries;
        telling.note(habit, Some(position), at, &order_no, String::new(), truly);
    }
}

/// A call for an auxiliary battery does not say which battery.
pub fn no_start_unplaced(telling: &mut Telling<'_>) {
    let Some((key, at, order_no)) = opened(telling) else {
        return;
    };
    if shows(telling, Habit::NoStartWithoutPosition, key, 0.8).is_none() {
        return;
    }
    let mut hidden = None;
    telling.each_line(|line| {
        let call = matches!(
            line.operation,
            Operation::NoStartCall | Operation::JumpStart | Operation::Tow
        );
        if call && line.position.is_some_and(|position| position != "main") {
            hidden = line.position.take();
        }
    });
    if let Some(position) = hidden {
        let truly = position.to_owned();
        let habit = Habit::NoStartWithoutPosition;
        telling.note(habit, Some(position), at, &order_no, String::new(), truly);
    }
}

/// The shop writes what the visit was for, and puts the battery down to the supply.
pub fn planned_as_supply(telling: &mut Telling<'_>) {
    let Some((key, at, order_no)) = opened(telling) else {
        return;
    };
    if telling.why() != Some(What::ReplacedPlanned)
        || shows(telling, Habit::PlannedAsSupply, key, 0.5).is_none()
    {
        return;
    }
    let position = telling.replacement().and_then(|line| line.position);
    telling.each_line(|line| {
        line.complaint = "annual service";
        line.cause = Some(OrderCause::Supply);
    });
    let (told, truly) = ("annual service, supply".to_owned(), "planned".to_owned());
    telling.note(Habit::PlannedAsSupply, position, at, &order_no, told, truly);
}

/// The battery is changed along with the alternator, and the cause reads "charging".
pub fn charging_alternator(telling: &mut Telling<'_>) {
    let Some((key, at, order_no)) = opened(telling) else {
        return;
    };
    if telling.why() != Some(What::ReplacedPlanned)
        || shows(telling, Habit::ChargingAlternator, key, 0.15).is_none()
    {
        return;
    }
    let position = telling.replacement().and_then(|line| line.position);
    telling.each_line(|line| {
        line.complaint = "charge lamp on, alternator renewed";
        line.cause_word = Some("charging");
    });
    let (told, truly) = ("alternator, charging".to_owned(), "planned".to_owned());
    telling.note(
        Habit::ChargingAlternator,
        position,
        at,
        &order_no,
        told,
        truly,
    );
    if let Some(first) = telling.records.first().cloned()
        && let Fact::Work(line) = first.fact.clone()
    {
        let mut alternator = first;
        alternator.fact = Fact::Work(bare(line));
        telling.records.insert(0, alternator);
    }
}

/// Complaint and cause stand on a line of their own, the replacement is bare.
pub fn complaint_elsewhere(telling: &mut Telling<'_>) {
    let Some((key, at, order_no)) = opened(telling) else {
        return;
    };
    if telling.why() != Some(What::ReplacedFailed)
        || shows(telling, Habit::ComplaintOnAnotherLine, key, 0.4).is_none()
    {
        return;
    }
    let (Some(first), Some(replacement)) =
        (telling.records.first().cloned(), telling.replacement())
    else {
        return;
    };
    let position = replacement.position;
    let truly = replacement.complaint.to_owned();
    let Fact::Work(line) = first.fact.clone() else {
        return;
    };
    telling.each_line(|line| {
        if line.operation == Operation::BatteryReplaced {
            line.complaint = "";
            line.cause = None;
        }
    });
    let mut diagnosis = first;
    diagnosis.fact = Fact::Work(bare(line));
    telling.records.insert(0, diagnosis);
    let habit = Habit::ComplaintOnAnotherLine;
    telling.note(habit, position, at, &order_no, String::new(), truly);
}

/// A line of the same order that is about no battery and no module.
fn bare(line: Work) -> Work {
    Work {
        operation: Operation::Other,
        position: None,
        module: None,
        parts_cost: None,
        labour_hours: Some(0.4),
        ..line
    }
}
