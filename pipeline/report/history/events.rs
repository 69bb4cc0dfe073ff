//! Everything that happened to a vehicle as one list, the newest first.

use serde::Serialize;

use super::super::cells;
use super::super::style::{LEFT_OUT, ReportStyle};
use super::views::{Battery, Order, Recovery, Session, Test};

/// One thing that happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Event {
    pub day: String,
    pub what: String,
    pub details: String,
    pub shop: String,
}

/// The list; in a report that leaves the house complaints are left out, because they may name people.
pub fn events(
    batteries: &[Battery],
    tests: &[Test],
    sessions: &[Session],
    orders: &[Order],
    recoveries: &[Recovery],
    style: &ReportStyle,
) -> Vec<Event> {
    let mut events = Vec::new();
    for battery in batteries {
        events.push(Event {
            day: battery.installed_on.clone(),
            what: "battery installed".to_owned(),
            details: format!(
                "{} battery {}, by {} (within {} days)",
                battery.position, battery.battery_no, battery.evidence, battery.uncertainty_days
            ),
            shop: String::new(),
        });
        if let Some(failed_on) = &battery.failed_on {
            events.push(Event {
                day: failed_on.clone(),
                what: "battery failed".to_owned(),
                details: format!(
                    "{} battery {}, {} old",
                    battery.position,
                    battery.battery_no,
                    cells::age(battery.exit_age_days)
                ),
                shop: String::new(),
            });
        }
    }
    events.extend(tests.iter().map(|test| test_event(test, style)));
    events.extend(sessions.iter().map(|session| session_event(session, style)));
    events.extend(orders.iter().map(|order| order_event(order, style)));
    for case in recoveries {
        if let Some(proven_on) = &case.proven_on {
            events.push(Event {
                day: proven_on.clone(),
                what: "recovery proven".to_owned(),
                details: format!("the {} of {} is over", case.opened_by, case.opened_on),
                shop: String::new(),
            });
        }
    }
    // Within a day the order is fixed by the words, so that the same lake gives the same list.
    events.sort_by(|a, b| {
        (&b.day, &a.what, &a.details, &a.shop).cmp(&(&a.day, &b.what, &b.details, &b.shop))
    });
    events.dedup();
    events
}

fn test_event(test: &Test, style: &ReportStyle) -> Event {
    let mut details = vec![test.verdict.clone()];
    details.extend(
        test.health
            .map(|health| format!("{:.0} % of rated cranking", health * 100.0)),
    );
    if let (Some(value), Some(kind)) = (test.measured_value, &test.measured_kind) {
        details.push(format!("{} {kind}", tidy(value)));
    }
    details.extend(
        test.rest_voltage_v
            .map(|volts| format!("{volts:.2} V at rest")),
    );
    details.extend(
        test.temperature_c
            .map(|celsius| style.units.temperature(celsius)),
    );
    if test.position != "main" {
        details.push(format!("{} battery", test.position));
    }
    Event {
        day: test.tested_on.clone(),
        what: "battery test".to_owned(),
        details: details.join(", "),
        shop: test.shop.clone().unwrap_or_default(),
    }
}

fn tidy(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn session_event(session: &Session, style: &ReportStyle) -> Event {
    let mut details = vec![match session.codes {
        0 => "no code".to_owned(),
        codes => format!(
            "{} from {}",
            cells::counted(codes as usize, "code", "codes"),
            cells::counted(session.modules.max(0) as usize, "module", "modules")
        ),
    }];
    details.extend(
        session
            .flood_cause
            .as_ref()
            .map(|cause| format!("put down to: {cause}")),
    );
    details.extend(
        session
            .supply_voltage_v
            .map(|volts| format!("supply {volts:.1} V")),
    );
    details.extend(session.odometer_km.map(|km| style.units.distance(km)));
    Event {
        day: session.day.clone(),
        what: match session.flood_cause {
            Some(_) => "flood of codes",
            None => "scan",
        }
        .to_owned(),
        details: details.join(", "),
        shop: session.shop.clone().unwrap_or_default(),
    }
}

fn order_event(order: &Order, style: &ReportStyle) -> Event {
    let mut details = Vec::new();
    details.extend(
        order
            .cause
            .as_ref()
            .map(|cause| format!("put down to {cause}")),
    );
    details.extend(
        order
            .position
            .as_ref()
            .filter(|position| *position != "main")
            .map(|position| format!("{position} battery")),
    );
    details.extend(
        order
            .module_address
            .as_ref()
            .map(|module| format!("module {}", style.module(module))),
    );
    details.extend(order.complaint.as_ref().map(|said| match style.shared() {
        true => format!("complaint {LEFT_OUT}"),
        false => format!("\u{201c}{said}\u{201d}"),
    }));
    details.extend(
        order
            .parts_cost
            .filter(|cost| *cost > 0.0)
            .map(|cost| format!("parts {}", cells::money(&style.currency, cost))),
    );
    details.extend(
        order
            .technician
            .as_ref()
            .map(|technician| format!("by {}", style.technician(technician))),
    );
    Event {
        day: order.day.clone(),
        what: order.operation.clone(),
        details: details.join(", "),
        shop: order.shop.clone().unwrap_or_default(),
    }
}
