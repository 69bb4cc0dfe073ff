//! State of charge from rest voltage, by chemistry and temperature, and back.
//!
//! Needs a battery at rest (hours without charge or load, or surface charge removed): a battery just
//! charged reads high. Values beyond a table's ends count as its ends. A voltage that is no number
//! has no state of charge.

use crate::words::Chemistry;

/// Temperature the tables hold for: 80 °F.
pub const TABLE_TEMPERATURE_C: f64 = (80.0 - 32.0) / 1.8;

/// How much a rest voltage of six cells moves with temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TemperatureRule {
    /// +1.2 mV per °C: 0.2 mV per °C and cell, the order of the reversible potential of lead-acid
    /// at full charge (from memory). A cold battery reads a little low.
    #[default]
    Reversible,
    /// The rule printed beside the flooded table: take 0.024 V off for each 10 °F below 80 °F, add it
    /// above. It is the hydrometer's rule times six, and much larger than what cells show.
    Printed,
    /// Read the table as it stands.
    None,
}

impl TemperatureRule {
    /// Volts to add to a voltage read at this temperature to compare it with the table.
    pub fn correction_v(self, temperature_c: f64) -> f64 {
        let above_table_c = temperature_c - TABLE_TEMPERATURE_C;
        match self {
            TemperatureRule::Reversible => -0.0012 * above_table_c,
            TemperatureRule::Printed => 0.024 * (above_table_c * 1.8 / 10.0),
            TemperatureRule::None => 0.0,
        }
    }
}

/// Rest voltage in V against state of charge from 0 to 1, rising, at 80 °F.
pub type Table = &'static [(f64, f64)];

/// Flooded: the table the trade prints for flooded batteries (from memory, not traced to an edition).
const FLOODED: Table = &[
    (11.89, 0.0),
    (12.06, 0.25),
    (12.24, 0.50),
    (12.45, 0.75),
    (12.65, 1.0),
];

/// AGM: lower edges of the bands printed for charging (12.8 V and above full, 12.6, 12.3, 12.0 the quarters;
/// from memory, not traced to an edition); the empty end is common practice, no source. Published tables differ by
/// 0.1 to 0.2 V.
const AGM: Table = &[
    (11.80, 0.0),
    (12.0, 0.25),
    (12.3, 0.50),
    (12.6, 0.75),
    (12.8, 1.0),
];

/// Gel: common practice, no source.
const GEL: Table = &[
    (11.80, 0.0),
    (12.0, 0.25),
    (12.35, 0.50),
    (12.65, 0.75),
    (12.85, 1.0),
];

/// Lithium iron phosphate, four cells: common practice, no source. Flat in the middle, so a middle
/// value is a guess within a quarter.
const LITHIUM: Table = &[
    (10.0, 0.0),
    (12.0, 0.09),
    (12.8, 0.17),
    (12.9, 0.20),
    (13.0, 0.30),
    (13.1, 0.40),
    (13.2, 0.70),
    (13.3, 0.90),
    (13.4, 1.0),
];

/// The table of a chemistry. Enhanced flooded batteries read as flooded ones; a battery of unknown
/// chemistry is read as flooded.
pub const fn table(chemistry: Option<Chemistry>) -> Table {
    match chemistry {
        Some(Chemistry::Agm) => AGM,
        Some(Chemistry::Gel) => GEL,
        Some(Chemistry::Lithium) => LITHIUM,
        Some(Chemistry::Flooded | Chemistry::Efb) | None => FLOODED,
    }
}

/// State of charge, 0 to 1, linear between the points of the chemistry's table. `temperature_c` of
/// `None` is read as the table's temperature. `None` where a value is no number.
pub fn state_of_charge(
    rest_voltage_v: f64,
    chemistry: Option<Chemistry>,
    temperature_c: Option<f64>,
    rule: TemperatureRule,
) -> Option<f64> {
    let corrected_v = rest_voltage_v + correction_v(chemistry, temperature_c, rule);
    corrected_v.is_finite().then(|| {
        between(table(chemistry), corrected_v, |(volts, charge)| {
            (*volts, *charge)
        })
    })
}

/// Rest voltage in V of a battery with this state of charge: the inverse of [`state_of_charge`].
pub fn rest_voltage_v(
    state_of_charge: f64,
    chemistry: Option<Chemistry>,
    temperature_c: Option<f64>,
    rule: TemperatureRule,
) -> Option<f64> {
    let volts = between(table(chemistry), state_of_charge, |(volts, charge)| {
        (*charge, *volts)
    });
    let at_temperature_v = volts - correction_v(chemistry, temperature_c, rule);
    (state_of_charge.is_finite() && at_temperature_v.is_finite()).then_some(at_temperature_v)
}

/// One-sigma error of a state of charge read from rest voltage (common practice, no source): tables
/// differ, and surface charge that may still be there adds to it.
pub const fn state_of_charge_sigma(
    chemistry: Option<Chemistry>,
    surface_charge_removed: Option<bool>,
) -> f64 {
    let table = match chemistry {
        Some(Chemistry::Flooded | Chemistry::Efb) => 0.07,
        Some(Chemistry::Agm | Chemistry::Gel) => 0.10,
        Some(Chemistry::Lithium) => 0.20,
        None => 0.15,
    };
    match surface_charge_removed {
        Some(true) => table,
        None => table + 0.03,
        Some(false) => table + 0.08,
    }
}

/// The rules are for lead-acid; the potential of lithium iron phosphate hardly moves.
pub(super) fn correction_v(
    chemistry: Option<Chemistry>,
    temperature_c: Option<f64>,
    rule: TemperatureRule,
) -> f64 {
    match (chemistry, temperature_c) {
        (Some(Chemistry::Lithium), _) | (_, None) => 0.0,
        (_, Some(temperature_c)) => rule.correction_v(temperature_c),
    }
}

/// Linear between the points of a rising table, flat beyond its ends.
pub(super) fn between<P>(table: &[P], x: f64, point: impl Fn(&P) -> (f64, f64)) -> f64 {
    let mut before: Option<(f64, f64)> = None;
    for (x1, y1) in table.iter().map(point) {
        if x <= x1 {
            return match before {
                Some((x0, y0)) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
                None => y1,
            };
        }
        before = Some((x1, y1));
    }
    before.map_or(f64::NAN, |(_, y)| y)
}
