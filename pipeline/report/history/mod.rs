//! The history of one vehicle: its batteries, their tests with trend and forecast, scans, floods, work
//! orders, and what the weekly reports said of it.

mod against_last;
mod corrections;
mod events;
mod pictures;
mod views;

use std::path::Path;

use chrono::Datelike;
use minijinja::context;

use super::ReportError;
use super::chart::file_name;
use super::document::{Document, Written};
use super::manner::{Manner, Units};
use super::table_files::{Kind, Sheet, column};
use super::templates::Templates;
use events::Event;
use tables::Analysis;
use views::{Battery, Named, Now, Order, Recovery, Register, Risk, Session, Test};

/// Events, and corrections, that the text shows; the table has all events.
const EVENTS: usize = 120;
/// Weeks of what reports told.
const WEEKS: usize = 12;

/// Writes the history of the vehicle of that identification or unit number into
/// `out/history-NAME/`.
pub async fn write(
    analysis: &Analysis,
    name: &str,
    out: &Path,
    manner: &Manner,
) -> Result<Written, ReportError> {
    let templates = Templates::new(manner)?;
    let vehicle = find(analysis, name).await?;
    let about = [("vin", vehicle.vin.as_str())];
    let mut register: Option<Register> = analysis.rows_with(views::REGISTER, &about).await?.pop();
    let mut batteries: Vec<Battery> = analysis.rows_with(views::BATTERIES, &about).await?;
    let mut tests: Vec<Test> = analysis.rows_with(views::TESTS, &about).await?;
    let mut sessions: Vec<Session> = analysis.rows_with(views::SESSIONS, &about).await?;
    let mut orders: Vec<Order> = analysis.rows_with(views::ORDERS, &about).await?;
    let mut risks: Vec<Risk> = analysis.rows_with(views::RISKS, &about).await?;
    let mut now: Vec<Now> = analysis.rows_with(views::NOW, &about).await?;
    let mut recoveries: Vec<Recovery> = analysis.rows_with(views::RECOVERIES, &about).await?;
    if manner.shared() {
        let groups = now.iter_mut().filter_map(|row| row.battery_group.as_mut());
        let of_register = register
            .as_mut()
            .and_then(|register| register.battery_group.as_mut());
        for group in groups.chain(of_register) {
            *group = manner.battery_group(group);
        }
        for case in &mut recoveries {
            case.standing.replace_positions(manner);
        }
        let positions = batteries.iter_mut().map(|row| &mut row.position);
        let positions = positions.chain(tests.iter_mut().map(|row| &mut row.position));
        let positions = positions.chain(risks.iter_mut().map(|row| &mut row.position));
        let positions = positions.chain(now.iter_mut().map(|row| &mut row.position));
        for position in positions.chain(orders.iter_mut().filter_map(|row| row.position.as_mut())) {
            *position = manner.position(position);
        }
        let shops = tests.iter_mut().filter_map(|row| row.shop.as_mut());
        let shops = shops.chain(sessions.iter_mut().filter_map(|row| row.shop.as_mut()));
        for shop in shops.chain(orders.iter_mut().filter_map(|row| row.shop.as_mut())) {
            *shop = manner.shop(shop);
        }
    }

    let as_of = analysis.as_of();
    let iso = as_of.iso_week();
    let week = format!("{}-W{:02}", iso.year(), iso.week());
    let settings = analysis.settings();
    let called = manner.vehicle(vehicle.unit_no.as_deref(), &vehicle.vin);
    let timeline = pictures::timeline(as_of, &batteries, &tests, &sessions, &orders);
    let mut capacity = Vec::new();
    for battery in batteries.iter().filter(|battery| battery.in_service) {
        let its: Vec<&Test> = tests
            .iter()
            .filter(|test| {
                test.position == battery.position && test.battery_no == Some(battery.battery_no)
            })
            .collect();
        capacity.extend(pictures::capacity(
            as_of,
            settings.test.worn_below,
            &battery.position,
            &its,
        ));
    }
    let mut positions: Vec<&str> = risks.iter().map(|risk| risk.position.as_str()).collect();
    positions.dedup();
    let risk_charts: Vec<_> = positions
        .iter()
        .filter_map(|position| {
            let its: Vec<&Risk> = risks
                .iter()
                .filter(|risk| risk.position == *position)
                .collect();
            pictures::risk(position, settings.run.horizon_days, &its)
        })
        .collect();
    let corrections = corrections::of(analysis, &vehicle.vin, manner).await?;
    let events = events::events(&batteries, &tests, &sessions, &orders, &recoveries, manner);
    let short_version = short_version(
        &called,
        &now,
        &recoveries,
        &events,
        settings.recovery.proven_days,
        manner.units,
    );
    let path = |chart: &super::chart::Chart| {
        context! { path => chart.path(), alternative => chart.alternative }
    };
    let mut newest: Vec<&Risk> = risks.iter().collect();
    newest.sort_by(|a, b| (&b.as_of, &a.position).cmp(&(&a.as_of, &b.position)));
    newest.truncate(WEEKS);
    let markdown = templates.render(
        "history.md",
        context! {
            as_of => as_of.to_string(),
            version => env!("CARGO_PKG_VERSION"),
            settings,
            called,
            vin => manner.vin(&vehicle.vin),
            shared => manner.pseudonyms.is_some(),
            register,
            short_version,
            now => now.iter().map(|row| context! {
                position => row.position, rank => row.rank, action => row.action,
                chance => row.chance, chance_lower => row.chance_lower, chance_upper => row.chance_upper,
                reasons => row.why(manner.units),
                before => against_last::against_last(row, &risks, &events, &week, manner.shared()),
            }).collect::<Vec<_>>(),
            batteries,
            timeline => timeline.iter().map(path).collect::<Vec<_>>(),
            capacity => capacity.iter().map(|(chart, words)| context! {
                path => chart.path(), alternative => chart.alternative, words
            }).collect::<Vec<_>>(),
            risk_charts => risk_charts.iter().map(path).collect::<Vec<_>>(),
            risks => newest,
            recoveries => recoveries.iter().filter(|case| case.open).map(|case| context! {
                opened_on => case.opened_on, opened_by => case.opened_by, days_standing => case.days_standing,
                next_step => case.standing.to_do(settings.recovery.proven_days),
                caution => case.standing.caution(),
            }).collect::<Vec<_>>(),
            events => &events[..events.len().min(EVENTS)],
            all_events => events.len(),
            tests => tests.len(),
            corrections => &corrections[..corrections.len().min(EVENTS)],
            all_corrections => corrections.len(),
        },
    )?;
    let document = Document {
        name: "history",
        title: format!("History of {called}"),
        as_of,
        markdown,
        charts: timeline
            .into_iter()
            .chain(capacity.into_iter().map(|(chart, _)| chart))
            .chain(risk_charts)
            .collect(),
        pages: Vec::new(),
        short_version,
        tables: vec![sheet(&events)],
    };
    let folder = file_name(&called);
    document.write(&out.join(format!("history-{folder}")), manner)
}

/// The vehicle that a user names by its identification or unit number.
async fn find(analysis: &Analysis, name: &str) -> Result<Named, ReportError> {
    let wanted = name.trim();
    let mut found: Vec<Named> = analysis
        .rows::<Named>(views::VEHICLES)
        .await?
        .into_iter()
        .filter(|vehicle| {
            vehicle.vin.eq_ignore_ascii_case(wanted)
                || vehicle
                    .unit_no
                    .as_deref()
                    .is_some_and(|unit| unit.trim().eq_ignore_ascii_case(wanted))
        })
        .collect();
    match found.len() {
        0 => Err(ReportError::NoSuchVehicle(wanted.to_owned())),
        1 => Ok(found.remove(0)),
        _ => Err(ReportError::SeveralVehicles {
            name: wanted.to_owned(),
            vins: found.into_iter().map(|vehicle| vehicle.vin).collect(),
        }),
    }
}

fn short_version(
    called: &str,
    now: &[Now],
    recoveries: &[Recovery],
    events: &[Event],
    proven_days: i64,
    units: Units,
) -> Vec<String> {
    let mut lines: Vec<String> = now
        .iter()
        .map(|row| {
            format!(
                "{called}, {} battery: {} ({}).",
                row.position,
                row.action,
                row.why(units)
            )
        })
        .collect();
    if lines.is_empty() {
        lines.push(format!("{called}: no battery is known to be in service."));
    }
    lines.extend(recoveries.iter().filter(|case| case.open).map(|case| {
        format!(
            "A recovery stands open since {}: {}.",
            case.opened_on,
            case.standing
                .to_do(proven_days)
                .as_deref()
                .unwrap_or("next step not known")
        )
    }));
    if let Some(last) = events.first() {
        lines.push(format!(
            "{} things are on record, the last on {}: {}.",
            events.len(),
            last.day,
            last.what
        ));
    }
    lines
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
