//! All that is on record of one vehicle, as a reader may see it.

use super::events::{self, Event};
use super::views::{self, Battery, Named, Now, Order, Recovery, Register, Risk, Session, Test};
use crate::ReportError;
use crate::style::ReportStyle;
use tables::Analysis;

/// Events, and corrections, that a text shows; the table has all events.
pub const EVENTS: usize = 120;

/// The vehicle and its rows.
pub struct Record {
    pub vin: String,
    /// What the reader calls it.
    pub called: String,
    pub register: Option<Register>,
    pub batteries: Vec<Battery>,
    pub tests: Vec<Test>,
    pub sessions: Vec<Session>,
    pub orders: Vec<Order>,
    pub risks: Vec<Risk>,
    pub now: Vec<Now>,
    pub recoveries: Vec<Recovery>,
    /// The newest first.
    pub events: Vec<Event>,
}

impl Record {
    /// That of a vehicle.
    pub async fn read(
        analysis: &Analysis,
        vehicle: Named,
        style: &ReportStyle,
    ) -> Result<Self, ReportError> {
        let about = [("vin", vehicle.vin.as_str())];
        let mut record = Self {
            called: style.vehicle(vehicle.unit_no.as_deref(), &vehicle.vin),
            register: analysis.rows_with(views::REGISTER, &about).await?.pop(),
            batteries: analysis.rows_with(views::BATTERIES, &about).await?,
            tests: analysis.rows_with(views::TESTS, &about).await?,
            sessions: analysis.rows_with(views::SESSIONS, &about).await?,
            orders: analysis.rows_with(views::ORDERS, &about).await?,
            risks: analysis.rows_with(views::RISKS, &about).await?,
            now: analysis.rows_with(views::NOW, &about).await?,
            recoveries: analysis.rows_with(views::RECOVERIES, &about).await?,
            events: Vec::new(),
            vin: vehicle.vin,
        };
        if style.shared() {
            record.replace_names(style);
        }
        record.events = events::events(
            &record.batteries,
            &record.tests,
            &record.sessions,
            &record.orders,
            &record.recoveries,
            style,
        );
        Ok(record)
    }

    /// Recoveries that stand open.
    pub fn open_recoveries(&self) -> impl Iterator<Item = &Recovery> {
        self.recoveries.iter().filter(|case| case.open)
    }

    fn replace_names(&mut self, style: &ReportStyle) {
        let Self {
            register,
            batteries,
            tests,
            sessions,
            orders,
            risks,
            now,
            recoveries,
            ..
        } = self;
        let groups = now.iter_mut().filter_map(|row| row.battery_group.as_mut());
        let of_register = register
            .as_mut()
            .and_then(|register| register.battery_group.as_mut());
        for group in groups.chain(of_register) {
            *group = style.battery_group(group);
        }
        for case in recoveries.iter_mut() {
            case.standing.replace_positions(style);
        }
        let positions = batteries.iter_mut().map(|row| &mut row.position);
        let positions = positions.chain(tests.iter_mut().map(|row| &mut row.position));
        let positions = positions.chain(risks.iter_mut().map(|row| &mut row.position));
        let positions = positions.chain(now.iter_mut().map(|row| &mut row.position));
        for position in positions.chain(orders.iter_mut().filter_map(|row| row.position.as_mut())) {
            *position = style.position(position);
        }
        let shops = tests.iter_mut().filter_map(|row| row.shop.as_mut());
        let shops = shops.chain(sessions.iter_mut().filter_map(|row| row.shop.as_mut()));
        for shop in shops.chain(orders.iter_mut().filter_map(|row| row.shop.as_mut())) {
            *shop = style.shop(shop);
        }
    }
}

/// The vehicle that a user names by its identification or unit number. Fails where there is none of that
/// name, or several.
pub async fn find(analysis: &Analysis, name: &str) -> Result<Named, ReportError> {
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
