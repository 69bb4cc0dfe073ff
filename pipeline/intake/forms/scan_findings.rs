//! What the messages of one scan say: values of the vehicle, and codes by module.
//!
//! A code that several answers tell of (stored, pending, permanent) is one code. The lowest supply
//! voltage of the scan is kept, since it is the one that makes codes; of other values the first.

use std::collections::{BTreeMap, BTreeSet};

use trade::diagnostics::active_codes::{Layout, List, read_active_codes};
use trade::diagnostics::broadcast::Message;
use trade::diagnostics::legislated::{self, Bus, Memory, Value};
use trade::diagnostics::unified::{self, Format};
use trade::diagnostics::{DecodeError, is_request};
use trade::vin::Vin;

/// Group of the vehicle's number: VI of SAE J1939-71 (number from memory).
const VEHICLE_NUMBER_GROUP: u32 = 65_260;

/// Codes of one scan that are kept.
const MOST_CODES: usize = 100_000;

/// A row of the scan's table.
pub struct FoundRow {
    pub line: u64,
    pub raw: String,
    pub cells: Vec<String>,
}

/// What has been found so far.
#[derive(Default)]
pub struct Findings {
    /// Values of the scan by column.
    values: BTreeMap<&'static str, String>,
    lowest_voltage_v: Option<f64>,
    modules: BTreeSet<String>,
    /// Modules whose codes are SPN and FMI, as they have said.
    heavy_formats: BTreeSet<String>,
    codes: BTreeMap<(String, String), FoundCode>,
    first: Option<(u64, String)>,
}

#[derive(Default)]
struct FoundCode {
    line: u64,
    raw: String,
    /// Values of the code by column.
    values: BTreeMap<&'static str, String>,
}

impl Findings {
    /// Sets a value of the scan, whatever was found before.
    pub fn set(&mut self, column: &'static str, value: String) {
        self.values.insert(column, value);
    }

    /// Sets a value of the scan if there is none yet.
    pub fn fall_back(&mut self, column: &'static str, value: Option<String>) {
        if let Some(value) = value {
            self.values.entry(column).or_insert(value);
        }
    }

    /// Takes an answer of a module. Requests, refusals and services that tell nothing of codes are
    /// passed over.
    pub fn message(
        &mut self,
        module: &str,
        message: &[u8],
        bus: Bus,
        line: u64,
        raw: &str,
    ) -> Result<(), DecodeError> {
        let Some(service) = message.first().filter(|_| !is_request(message)) else {
            return Ok(());
        };
        self.modules.insert(module.to_owned());
        self.first.get_or_insert_with(|| (line, raw.to_owned()));
        let mut found = |code: String, values: &[(&'static str, String)]| {
            add(&mut self.codes, module, code, values, line, raw);
        };
        match service {
            0x41 | 0x43 | 0x47 | 0x4A => match legislated::read_answer(message, bus)? {
                legislated::Answer::Codes { memory, codes } => {
                    let flag = match memory {
                        Memory::Confirmed => "confirmed",
                        Memory::Pending => "pending",
                        Memory::Permanent => "permanent",
                    };
                    for code in codes {
                        found(code.to_string(), &[(flag, "yes".to_owned())]);
                    }
                }
                legislated::Answer::Current(data) => self.current(&data.values),
                legislated::Answer::Cleared => {}
            },
            0x59 => match unified::read_answer(message)? {
                unified::Answer::Count {
                    format: Format::J1939,
                    ..
                } => {
                    self.heavy_formats.insert(module.to_owned());
                }
                unified::Answer::Codes { codes, .. } => {
                    let heavy = self.heavy_formats.contains(module);
                    for listed in codes {
                        let status = ("status_byte", listed.status.0.to_string());
                        match (listed.code.as_typed(), listed.code.as_heavy()) {
                            (_, Some(code)) if heavy => found(code.to_string(), &[status]),
                            (Some(code), _) => found(code.to_string(), &[status]),
                            _ => {}
                        }
                    }
                }
                _ => {}
            },
            0x49 => self.vehicle_number(message.get(2..).unwrap_or_default()),
            _ => {}
        }
        Ok(())
    }

    /// Takes a message of a heavy vehicle; says whether it told anything of the scan.
    pub fn heavy_message(
        &mut self,
        message: &Message,
        line: u64,
        raw: &str,
    ) -> Result<bool, DecodeError> {
        if message.group == VEHICLE_NUMBER_GROUP {
            self.vehicle_number(&message.data);
            return Ok(true);
        }
        let Some(list) = List::of_group(message.group) else {
            return Ok(false);
        };
        let module = format!("{:02X}", message.source);
        let flag = match list {
            List::Active | List::ConfirmedActive | List::ConfirmedPreviously => Some("confirmed"),
            List::Pending => Some("pending"),
            List::Permanent => Some("permanent"),
            List::PreviouslyActive => None,
        };
        for active in read_active_codes(&message.data, Layout::default())?.codes {
            let mut values: Vec<(&'static str, String)> = flag
                .map(|flag| (flag, "yes".to_owned()))
                .into_iter()
                .collect();
            values.extend(
                active
                    .occurrence_count
                    .map(|count| ("occurrence_count", count.to_string())),
            );
            add(
                &mut self.codes,
                &module,
                active.code.to_string(),
                &values,
                line,
                raw,
            );
        }
        self.modules.insert(module);
        self.first.get_or_insert_with(|| (line, raw.to_owned()));
        Ok(true)
    }

    fn current(&mut self, values: &[Value]) {
        for value in values {
            match value {
                Value::Monitors(status) if status.supported_count() > 0 => {
                    self.fall_back("monitors_ready", Some(status.ready_count().to_string()));
                    self.fall_back(
                        "monitors_supported",
                        Some(status.supported_count().to_string()),
                    );
                }
                Value::WarmUpsSinceClear(count) => {
                    self.fall_back("warm_ups_since_clear", Some(count.to_string()))
                }
                Value::KmSinceClear(km) => self.fall_back("km_since_clear", Some(km.to_string())),
                Value::SupplyVoltageV(volts) => {
                    let lowest = self
                        .lowest_voltage_v
                        .map_or(*volts, |known| known.min(*volts));
                    self.lowest_voltage_v = Some(lowest);
                }
                _ => {}
            }
        }
    }

    /// The vehicle's number in a message, after a count and before padding, if it is one.
    fn vehicle_number(&mut self, data: &[u8]) {
        let text: String = data
            .iter()
            .filter(|byte| byte.is_ascii_alphanumeric())
            .map(|byte| char::from(*byte))
            .collect();
        self.fall_back("vin", Vin::parse(&text).ok().map(|vin| vin.to_string()));
    }

    /// One row a code, or one for the scan if it has none; no row when nothing answered.
    pub fn rows(mut self, columns: &[&'static str]) -> Vec<FoundRow> {
        let Some((line, raw)) = self.first.take() else {
            return Vec::new();
        };
        self.fall_back(
            "supply_voltage_v",
            self.lowest_voltage_v.map(|volts| volts.to_string()),
        );
        self.fall_back("modules_answered", Some(self.modules.len().to_string()));
        let scan = self.values;
        let row = |line: u64, raw: String, own: &BTreeMap<&'static str, String>| {
            let cell = |column: &&'static str| {
                own.get(column)
                    .or_else(|| scan.get(column))
                    .cloned()
                    .unwrap_or_default()
            };
            FoundRow {
                line,
                raw,
                cells: columns.iter().map(cell).collect(),
            }
        };
        if self.codes.is_empty() {
            return vec![row(line, raw, &BTreeMap::new())];
        }
        let codes = self.codes.into_values();
        codes
            .map(|code| row(code.line, code.raw, &code.values))
            .collect()
    }
}

/// Adds what an answer says of a code to what is known of it.
fn add(
    codes: &mut BTreeMap<(String, String), FoundCode>,
    module: &str,
    code: String,
    values: &[(&'static str, String)],
    line: u64,
    raw: &str,
) {
    if codes.len() >= MOST_CODES {
        return;
    }
    let found = codes
        .entry((module.to_owned(), code.clone()))
        .or_insert_with(|| FoundCode {
            line,
            raw: raw.to_owned(),
            values: BTreeMap::from([("module_address", module.to_owned()), ("code", code)]),
        });
    found.values.extend(values.iter().cloned());
}
