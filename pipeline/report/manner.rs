//! How a reader wants a report told: units, currency, own templates, names kept or replaced.

use std::path::PathBuf;

use super::pseudonym::Pseudonyms;

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
pub struct Manner {
    pub units: Units,
    /// Currency symbol.
    pub currency: String,
    /// A folder whose templates come before the shipped ones of the same name.
    pub templates: Option<PathBuf>,
    /// Names put in the place of vehicles, units and technicians.
    pub pseudonyms: Option<Pseudonyms>,
}

impl Manner {
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

    fn named(&self, kind: &str, name: &str) -> String {
        match &self.pseudonyms {
            Some(pseudonyms) => pseudonyms.of(kind, name),
            None => name.to_owned(),
        }
    }
}
