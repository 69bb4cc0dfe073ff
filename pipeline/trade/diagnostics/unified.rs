//! The fault memory services of ISO 14229-1: 0x19 read codes, 0x14 clear them.
//!
//! Of 0x19 the counts (01, 07, 11, 12), the lists of codes with status (02, 0A to 0F, 13, 15), those
//! with severity (08, 09) and the fault counters (14) are read. Snapshots and extended data are the
//! maker's own layout and are refused by name. The answer does not say how its three bytes are to
//! be taken except in a count; [`ListedCode`] offers both ways.

use super::{Bytes, DecodeError};
use crate::heavy_code::HeavyCode;
use crate::trouble_code::{Status, TypedCode};

/// How a module's three bytes are to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// 00: SAE J2012-DA, format 00.
    J2012,
    /// 01: ISO 14229-1.
    Unified,
    /// 02: SAE J1939-73, SPN and FMI (from memory).
    J1939,
    /// 03: ISO 11992-4 (from memory).
    TruckTrailer,
    /// 04: SAE J2012-DA, format 04 (from memory).
    J2012Second,
    Other(u8),
}

impl Format {
    const fn from_byte(byte: u8) -> Self {
        match byte {
            0 => Format::J2012,
            1 => Format::Unified,
            2 => Format::J1939,
            3 => Format::TruckTrailer,
            4 => Format::J2012Second,
            other => Format::Other(other),
        }
    }
}

/// A code in an answer, as its three bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ListedCode {
    pub bytes: [u8; 3],
}

impl ListedCode {
    /// Taken as code and failure type; `None` for padding.
    pub const fn as_typed(self) -> Option<TypedCode> {
        TypedCode::from_bytes(self.bytes)
    }

    /// Taken as SPN and FMI, for modules whose format is [`Format::J1939`].
    pub const fn as_heavy(self) -> Option<HeavyCode> {
        let [low, middle, high] = self.bytes;
        HeavyCode::new(u32::from_le_bytes([low, middle, high >> 5, 0]), high & 0x1F)
    }
}

/// A code with its status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StatusedCode {
    pub code: ListedCode,
    pub status: Status,
    /// Severity byte and functional unit, where the answer has them.
    pub severity: Option<(u8, u8)>,
}

/// A positive answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// How many codes the mask of the request found.
    Count {
        availability: u8,
        format: Format,
        count: u16,
    },
    /// The codes found; `availability` has the status bits the module supports.
    Codes {
        subfunction: u8,
        availability: u8,
        codes: Vec<StatusedCode>,
    },
    /// How often each not yet confirmed code was seen.
    Counters(Vec<(ListedCode, u8)>),
    /// Service 0x14 was carried out.
    Cleared,
}

/// Reads one answer of service 0x19 or 0x14, with its frames joined.
pub fn read_answer(message: &[u8]) -> Result<Answer, DecodeError> {
    let mut bytes = Bytes::new(message);
    match bytes.answer()? {
        0x54 => bytes.end().map(|()| Answer::Cleared),
        0x59 => read_codes(bytes),
        found => Err(DecodeError::Unexpected {
            at: 0,
            found,
            expected: "an answer of service 19 or 14 (59, 54)",
        }),
    }
}

fn read_codes(mut bytes: Bytes<'_>) -> Result<Answer, DecodeError> {
    let at = bytes.at;
    let subfunction = bytes.byte("the subfunction")?;
    match subfunction {
        0x01 | 0x07 | 0x11 | 0x12 => {
            let [availability, format, high, low] =
                bytes.take("availability, format and a count of two bytes")?;
            bytes.end()?;
            Ok(Answer::Count {
                availability,
                format: Format::from_byte(format),
                count: u16::from_be_bytes([high, low]),
            })
        }
        0x02 | 0x0A..=0x0F | 0x13 | 0x15 => {
            let availability = bytes.byte("the status availability mask")?;
            let codes = entries(
                bytes,
                "a code of three bytes and its status",
                |[a, b, c, status]: [u8; 4]| StatusedCode {
                    code: ListedCode { bytes: [a, b, c] },
                    status: Status(status),
                    severity: None,
                },
            )?;
            Ok(Answer::Codes {
                subfunction,
                availability,
                codes,
            })
        }
        0x08 | 0x09 => {
            let availability = bytes.byte("the status availability mask")?;
            let expected = "severity, functional unit, a code of three bytes and its status";
            let codes = entries(
                bytes,
                expected,
                |[severity, unit, a, b, c, status]: [u8; 6]| StatusedCode {
                    code: ListedCode { bytes: [a, b, c] },
                    status: Status(status),
                    severity: Some((severity, unit)),
                },
            )?;
            Ok(Answer::Codes {
                subfunction,
                availability,
                codes,
            })
        }
        0x14 => {
            let counters = entries(
                bytes,
                "a code of three bytes and its counter",
                |[a, b, c, count]: [u8; 4]| (ListedCode { bytes: [a, b, c] }, count),
            )?;
            Ok(Answer::Counters(counters))
        }
        found => {
            let expected = "a subfunction that lists or counts codes (01, 02, 07 to 0F, 11 to 15)";
            Err(DecodeError::Unexpected {
                at,
                found,
                expected,
            })
        }
    }
}

/// Entries of one length to the end of the message, or to where only padding is left.
fn entries<const N: usize, T>(
    mut bytes: Bytes<'_>,
    expected: &'static str,
    entry: impl Fn([u8; N]) -> T,
) -> Result<Vec<T>, DecodeError> {
    let mut found = Vec::with_capacity(bytes.left().len() / N);
    while !bytes.only_padding_left() {
        found.push(entry(bytes.take(expected)?));
    }
    Ok(found)
}

/// What a request to clear asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClearGroup {
    /// FF FF FF: every code.
    All,
    /// One code or a group the maker defines.
    Only(ListedCode),
}

/// Reads a request of service 0x14: the group to clear.
pub fn read_clear_request(message: &[u8]) -> Result<ClearGroup, DecodeError> {
    let mut bytes = Bytes::new(message);
    let found = bytes.byte("service 14")?;
    if found != 0x14 {
        return Err(DecodeError::Unexpected {
            at: 0,
            found,
            expected: "service 14",
        });
    }
    let group = bytes.take("a group of three bytes")?;
    Ok(if group == [0xFF; 3] {
        ClearGroup::All
    } else {
        ClearGroup::Only(ListedCode { bytes: group })
    })
}
