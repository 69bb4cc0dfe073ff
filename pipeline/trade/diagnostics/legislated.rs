//! The emissions services: SAE J1979 (ISO 15031-5) services 01, 03, 04, 07 and 0A.
//!
//! On CAN the answers of 03, 07 and 0A begin with a count of codes; on the older buses they do not,
//! and reading one form as the other gives real-looking wrong codes, so the caller says which bus it
//! was. Parameters the analysis does not use end the reading of an answer and are named, because
//! their length is not known here. Oxygen sensors, freeze frames and test results are not read.

use super::{Bytes, DecodeError};
use crate::trouble_code::TroubleCode;

/// The bus an answer came over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Bus {
    /// CAN, ISO 15765-4: count first.
    #[default]
    Can,
    /// K-line and J1850: pairs of bytes, filled up with zeros.
    Older,
}

/// Which memory codes were read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Memory {
    /// Service 03.
    Confirmed,
    /// Service 07: seen in this or the last driving cycle.
    Pending,
    /// Service 0A: cannot be cleared by a tool.
    Permanent,
}

/// A positive answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    Current(CurrentData),
    Codes {
        memory: Memory,
        codes: Vec<TroubleCode>,
    },
    /// Service 04: codes and readiness cleared.
    Cleared,
}

/// Values of service 01.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurrentData {
    pub values: Vec<Value>,
    /// Offset and number of the first parameter that is not read here.
    pub not_read: Option<(usize, u8)>,
}

/// A parameter of service 01.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// 00, 20, 40 …: which of the 32 parameters after `after` the module has, the next one in the
    /// highest bit.
    Supported { after: u8, bits: u32 },
    /// 01.
    Monitors(MonitorStatus),
    /// 1F: since the engine was started.
    RunTimeS(u16),
    /// 21: driven with the lamp on.
    LampOnKm(u16),
    /// 30: since codes were cleared; stays at 255.
    WarmUpsSinceClear(u8),
    /// 31: since codes were cleared; stays at 65535.
    KmSinceClear(u16),
    /// 42: the module's supply.
    SupplyVoltageV(f64),
    /// 4D: run with the lamp on.
    LampOnMin(u16),
    /// 4E: run since codes were cleared; stays at 65535.
    MinSinceClear(u16),
}

/// Lamp, count of codes and readiness since codes were cleared (parameter 01).
///
/// Order and names of the monitors are those of SAE J1979, from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonitorStatus {
    bytes: [u8; 4],
}

/// One readiness monitor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Monitor {
    pub name: &'static str,
    pub complete: bool,
}

const COMMON: [&str; 3] = ["misfire", "fuel system", "components"];
const SPARK: [&str; 8] = [
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "petrol particulate filter",
    "oxygen sensor",
    "oxygen sensor heater",
    "exhaust gas recirculation",
];
const COMPRESSION: [&str; 8] = [
    "hydrocarbon catalyst",
    "nitrogen oxide aftertreatment",
    "reserved",
    "boost pressure",
    "reserved",
    "exhaust gas sensor",
    "particulate filter",
    "exhaust gas recirculation",
];

impl MonitorStatus {
    /// From the four bytes A to D.
    pub const fn new(bytes: [u8; 4]) -> Self {
        MonitorStatus { bytes }
    }

    /// Whether the malfunction lamp is asked for.
    pub const fn lamp_on(self) -> bool {
        self.bytes[0] & 0x80 != 0
    }

    /// How many confirmed codes the module holds.
    pub const fn code_count(self) -> u8 {
        self.bytes[0] & 0x7F
    }

    /// Whether the engine is a compression-ignition one.
    pub const fn is_compression_ignition(self) -> bool {
        self.bytes[1] & 0x08 != 0
    }

    /// The monitors the vehicle has.
    pub fn monitors(self) -> impl Iterator<Item = Monitor> {
        let [_, common, supported, not_complete] = self.bytes;
        let names = if self.is_compression_ignition() {
            &COMPRESSION
        } else {
            &SPARK
        };
        let common = COMMON
            .iter()
            .enumerate()
            .map(move |(bit, name)| (*name, common >> bit, common >> (bit + 4)));
        let special = names
            .iter()
            .enumerate()
            .map(move |(bit, name)| (*name, supported >> bit, not_complete >> bit));
        common
            .chain(special)
            .filter(|(_, supported, _)| supported & 1 != 0)
            .map(|(name, _, not_complete)| Monitor {
                name,
                complete: not_complete & 1 == 0,
            })
    }

    /// How many monitors the vehicle has.
    pub fn supported_count(self) -> usize {
        self.monitors().count()
    }

    /// How many of them are complete.
    pub fn ready_count(self) -> usize {
        self.monitors().filter(|monitor| monitor.complete).count()
    }
}

/// Reads one answer, without the header of its bus and with its frames joined.
pub fn read_answer(message: &[u8], bus: Bus) -> Result<Answer, DecodeError> {
    let mut bytes = Bytes::new(message);
    let memory = match bytes.answer()? {
        0x41 => return current_data(bytes).map(Answer::Current),
        0x44 => return bytes.end().map(|()| Answer::Cleared),
        0x43 => Memory::Confirmed,
        0x47 => Memory::Pending,
        0x4A => Memory::Permanent,
        found => {
            let expected = "an answer of service 01, 03, 04, 07 or 0A (41, 43, 44, 47, 4A)";
            return Err(DecodeError::Unexpected {
                at: 0,
                found,
                expected,
            });
        }
    };
    let codes = match bus {
        Bus::Can => counted_codes(bytes)?,
        Bus::Older => paired_codes(bytes)?,
    };
    Ok(Answer::Codes { memory, codes })
}

fn counted_codes(mut bytes: Bytes<'_>) -> Result<Vec<TroubleCode>, DecodeError> {
    let count = usize::from(bytes.byte("the count of codes")?);
    let mut codes = Vec::with_capacity(count);
    for _ in 0..count {
        let at = bytes.at;
        let pair = bytes.take("a code of two bytes, by the count")?;
        let expected = "a code, by the count";
        codes.push(
            TroubleCode::from_bytes(pair).ok_or(DecodeError::Unexpected {
                at,
                found: 0,
                expected,
            })?,
        );
    }
    bytes.end()?;
    Ok(codes)
}

fn paired_codes(mut bytes: Bytes<'_>) -> Result<Vec<TroubleCode>, DecodeError> {
    let mut codes = Vec::with_capacity(bytes.left().len() / 2);
    while !bytes.left().is_empty() {
        let pair = bytes.take("the second byte of a code")?;
        codes.extend(TroubleCode::from_bytes(pair));
    }
    Ok(codes)
}

fn current_data(mut bytes: Bytes<'_>) -> Result<CurrentData, DecodeError> {
    let mut data = CurrentData::default();
    loop {
        let at = bytes.at;
        let pid = bytes.byte("the number of a parameter")?;
        let value = match pid {
            0x00 | 0x20 | 0x40 | 0x60 | 0x80 | 0xA0 | 0xC0 | 0xE0 => {
                let bits = u32::from_be_bytes(bytes.take("four bytes of supported parameters")?);
                Value::Supported { after: pid, bits }
            }
            0x01 => Value::Monitors(MonitorStatus::new(
                bytes.take("four bytes of monitor status")?,
            )),
            0x1F => Value::RunTimeS(two(&mut bytes)?),
            0x21 => Value::LampOnKm(two(&mut bytes)?),
            0x30 => Value::WarmUpsSinceClear(bytes.byte("the count of warm-ups")?),
            0x31 => Value::KmSinceClear(two(&mut bytes)?),
            0x42 => Value::SupplyVoltageV(f64::from(two(&mut bytes)?) / 1000.0),
            0x4D => Value::LampOnMin(two(&mut bytes)?),
            0x4E => Value::MinSinceClear(two(&mut bytes)?),
            _ => {
                data.not_read = Some((at, pid));
                return Ok(data);
            }
        };
        data.values.push(value);
        if bytes.only_padding_left() {
            return Ok(data);
        }
    }
}

fn two(bytes: &mut Bytes<'_>) -> Result<u16, DecodeError> {
    bytes.take("a value of two bytes").map(u16::from_be_bytes)
}
