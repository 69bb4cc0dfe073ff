//! How a reader wants a report told: units, currency, own templates, names kept or replaced.

use std::path::PathBuf;

use super::pseudonym::Pseudonyms;
use super::trade_terms::{is_battery_group, is_module, is_position};

/// What stands in the place of text that a person typed.
pub const LEFT_OUT: &str = "left out of a shared report: may name people";

/// What queries put where there is no shop.
const NO_SHOP: [&str; 2] = ["not known", "not named"];

/// Units of temperature and distance.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Units {
    #[default]
    Metric,
    Us,
}

impl Units {
    /// A temperature given in degrees Celsius.
    pub fn temperature(self, celsius: f64) -> String {
        match self {
            Units::Metric => format!("{celsius:.0} °C"),
            Units::Us => format!("{:.0} °F", celsius * 1.8 + 32.0),
        }
    }

    /// A distance given in kilometres. The international mile is 1.609344 km.
    pub fn distance(self, km: f64) -> String {
        match self {
            Units::Metric => format!("{} km", super::cells::thousands(km)),
            Units::Us => format!("{} mi", super::cells::thousands(km / 1.609_344)),
        }
    }
}

/// How a report is told.
#[derive(Debug, Clone, Default)]
pub struct ReportStyle {
    pub units: Units,
    /// Currency symbol.
    pub currency: String,
    /// A folder whose templates come before the shipped ones of the same name.
    pub templates: Option<PathBuf>,
    /// Names put in the place of all that may name a vehicle or a person, where the report is shared.
    pub pseudonyms: Option<Pseudonyms>,
    /// How long a template may take.
    pub limits: settings::Limits,
}

impl ReportStyle {
    /// A vehicle identification number, or its pseudonym.
    pub fn vin(&self, vin: &str) -> String {
        self.named("V", vin)
    }

    /// A fleet's number of a vehicle, or its pseudonym.
    pub fn unit(&self, unit_no: &str) -> String {
        self.named("U", unit_no)
    }

    /// What a vehicle is called: its unit number, else its identification number.
    pub fn vehicle(&self, unit_no: Option<&str>, vin: &str) -> String {
        match unit_no.map(str::trim).filter(|unit| !unit.is_empty()) {
            Some(unit) => self.unit(unit),
            None => self.vin(vin),
        }
    }

    /// A technician's initials or number, or their pseudonym.
    pub fn technician(&self, technician: &str) -> String {
        self.named("T", technician)
    }

    /// A shop, which may be called by its owner's name.
    pub fn shop(&self, shop: &str) -> String {
        match NO_SHOP.contains(&shop) {
            true => shop.to_owned(),
            false => self.named("S", shop),
        }
    }

    /// A work order's number.
    pub fn order(&self, order_no: &str) -> String {
        self.named("O", order_no)
    }

    /// What somebody typed, such as a complaint.
    pub fn typed(&self, text: &str) -> String {
        match self.shared() {
            true => LEFT_OUT.to_owned(),
            false => text.to_owned(),
        }
    }

    /// Which battery: a term of the trade as it stands, anything else by a pseudonym.
    pub fn position(&self, position: &str) -> String {
        match is_position(position) {
            true => position.to_owned(),
            false => self.named("P", position),
        }
    }

    /// A module's address; as [`Self::position`].
    pub fn module(&self, address: &str) -> String {
        match is_module(address) {
            true => address.to_owned(),
            false => self.named("M", address),
        }
    }

    /// A size group of batteries; as [`Self::position`].
    pub fn battery_group(&self, group: &str) -> String {
        match is_battery_group(group) {
            true => group.to_owned(),
            false => self.named("G", group),
        }
    }

    /// Whether the report is to leave the house.
    pub fn shared(&self) -> bool {
        self.pseudonyms.is_some()
    }

    fn named(&self, kind: &str, name: &str) -> String {
        match &self.pseudonyms {
            Some(pseudonyms) => pseudonyms.of(kind, name),
            None => name.to_owned(),
        }
    }
}
