//! Trouble codes of road vehicles: five-character text and the bytes on the wire.
//!
//! Two bytes hold a code (SAE J2012, ISO 15031-6); ISO 14229-1 adds a failure type byte and a
//! status byte. Codes of heavy vehicles are in [`super::heavy_code`], what a code tells of is in
//! [`super::code_group`], its wording in [`super::code_text`]. A text that is no code is refused
//! with the place where it goes wrong.

use std::fmt;

use thiserror::Error;

/// Why a text is no trouble code. Positions count from 1 in the trimmed text.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CodeError {
    #[error(
        "code '{code}' has {found} characters: a code is a letter, a digit 0-3 and three hex digits, such as P0562"
    )]
    Length { code: String, found: usize },
    #[error("code '{code}' has '{character}' at position {position}: {expected} goes there")]
    Character {
        code: String,
        character: char,
        position: usize,
        expected: &'static str,
    },
    #[error("code '{code}' is all zero: that is padding in a response, not a code; leave it out")]
    NoCode { code: String },
    #[error("code '{code}' ends where {expected} should stand")]
    Ends {
        code: String,
        expected: &'static str,
    },
    #[error("code '{code}' has SPN {spn}: an SPN is 0 to 524287")]
    SpnRange { code: String, spn: u64 },
    #[error("code '{code}' has FMI {fmi}: an FMI is 0 to 31")]
    FmiRange { code: String, fmi: u64 },
}

/// The part of the vehicle the code's letter names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum System {
    Powertrain,
    Chassis,
    Body,
    Network,
}

impl System {
    /// The letter of the code.
    pub const fn letter(self) -> char {
        match self {
            System::Powertrain => 'P',
            System::Chassis => 'C',
            System::Body => 'B',
            System::Network => 'U',
        }
    }
}

/// Who gives the code its meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Origin {
    /// The standard: the same meaning in every make.
    Standard,
    /// The maker of the vehicle.
    Maker,
    /// Held back by the standard.
    Reserved,
}

/// A two-byte code. Bits 15-14 are the letter, 13-12 the first digit, then three hex digits.
/// 00 00 is padding and never a `TroubleCode`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct TroubleCode(u16);

impl TroubleCode {
    /// The code in two bytes; `None` for the padding 00 00.
    pub const fn from_bytes(bytes: [u8; 2]) -> Option<Self> {
        match u16::from_be_bytes(bytes) {
            0 => None,
            code => Some(TroubleCode(code)),
        }
    }

    /// The two bytes of the code.
    pub const fn to_bytes(self) -> [u8; 2] {
        self.0.to_be_bytes()
    }

    /// Reads five characters such as `P0562`, in any case.
    pub fn parse(text: &str) -> Result<Self, CodeError> {
        let trimmed = text.trim();
        let found = trimmed.chars().count();
        if found != 5 {
            return Err(CodeError::Length {
                code: shown(trimmed),
                found,
            });
        }
        let mut value = 0u16;
        for (index, character) in trimmed.chars().enumerate() {
            let (digit, bits, expected) = match index {
                0 => (
                    "PCBU".find(character.to_ascii_uppercase()),
                    2,
                    "P, C, B or U",
                ),
                1 => (
                    character.to_digit(4).map(|d| d as usize),
                    2,
                    "a digit 0 to 3",
                ),
                _ => (character.to_digit(16).map(|d| d as usize), 4, "a hex digit"),
            };
            let Some(digit) = digit else {
                return Err(CodeError::Character {
                    code: shown(trimmed),
                    character,
                    position: index + 1,
                    expected,
                });
            };
            value = (value << bits) | digit as u16;
        }
        Self::from_bytes(value.to_be_bytes()).ok_or_else(|| CodeError::NoCode {
            code: shown(trimmed),
        })
    }

    /// The part of the vehicle.
    pub const fn system(self) -> System {
        match self.0 >> 14 {
            0 => System::Powertrain,
            1 => System::Chassis,
            2 => System::Body,
            _ => System::Network,
        }
    }

    /// The fourteen bits after the letter, as four hex digits of the text: 0x0562 for P0562.
    pub const fn number(self) -> u16 {
        self.0 & 0x3FFF
    }

    /// Who gives the code its meaning: ranges of SAE J2012 (from memory).
    pub const fn origin(self) -> Origin {
        match (self.system(), self.number()) {
            (_, 0x0000..=0x0FFF) | (System::Powertrain, 0x2000..=0x2FFF | 0x3400..=0x39FF) => {
                Origin::Standard
            }
            (System::Network, 0x3000..=0x3FFF) => Origin::Standard,
            (System::Powertrain, 0x1000..=0x1FFF | 0x3000..=0x33FF) => Origin::Maker,
            (System::Powertrain, _) => Origin::Reserved,
            (_, 0x1000..=0x2FFF) => Origin::Maker,
            _ => Origin::Reserved,
        }
    }
}

impl fmt::Display for TroubleCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{:04X}", self.system().letter(), self.number())
    }
}

impl fmt::Debug for TroubleCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "TroubleCode({self})")
    }
}

/// A code with its failure type byte, ISO 14229-1 format 01 and SAE J2012-DA: `P0A9B-17`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct TypedCode {
    pub code: TroubleCode,
    pub failure_type: u8,
}

impl TypedCode {
    /// The code in three bytes; `None` where the first two are the padding 00 00.
    pub const fn from_bytes(bytes: [u8; 3]) -> Option<Self> {
        match TroubleCode::from_bytes([bytes[0], bytes[1]]) {
            Some(code) => Some(TypedCode {
                code,
                failure_type: bytes[2],
            }),
            None => None,
        }
    }

    /// The three bytes of the code.
    pub const fn to_bytes(self) -> [u8; 3] {
        let [high, low] = self.code.to_bytes();
        [high, low, self.failure_type]
    }

    /// Reads `P0A9B-17`, also with a colon, a space or nothing before the two hex digits.
    pub fn parse(text: &str) -> Result<Self, CodeError> {
        let trimmed = text.trim();
        let (code, rest) = trimmed.split_at_checked(5).unwrap_or((trimmed, ""));
        let code = TroubleCode::parse(code)?;
        let digits = rest.strip_prefix(['-', ':', ' ']).unwrap_or(rest);
        let first = 6 + rest.len() - digits.len();
        let mut failure_type = 0u8;
        for (index, character) in digits.chars().enumerate() {
            let wrong = |expected| {
                let position = first + index;
                Err(CodeError::Character {
                    code: shown(trimmed),
                    character,
                    position,
                    expected,
                })
            };
            match character.to_digit(16) {
                _ if index == 2 => return wrong("nothing more"),
                Some(digit) => failure_type = (failure_type << 4) | digit as u8,
                None => return wrong("a hex digit of the failure type"),
            }
        }
        if digits.len() < 2 {
            return Err(CodeError::Ends {
                code: shown(trimmed),
                expected: "a failure type of two hex digits",
            });
        }
        Ok(TypedCode { code, failure_type })
    }
}

impl fmt::Display for TypedCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:02X}", self.code, self.failure_type)
    }
}

/// The eight status bits of a code, ISO 14229-1 Annex D.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Status(pub u8);

impl Status {
    pub const TEST_FAILED: u8 = 0x01;
    pub const TEST_FAILED_THIS_CYCLE: u8 = 0x02;
    pub const PENDING: u8 = 0x04;
    pub const CONFIRMED: u8 = 0x08;
    pub const NOT_COMPLETED_SINCE_CLEAR: u8 = 0x10;
    pub const FAILED_SINCE_CLEAR: u8 = 0x20;
    pub const NOT_COMPLETED_THIS_CYCLE: u8 = 0x40;
    pub const WARNING_INDICATOR: u8 = 0x80;

    /// Whether any of these bits is set.
    pub const fn has(self, bits: u8) -> bool {
        self.0 & bits != 0
    }

    /// The test fails now.
    pub const fn test_failed(self) -> bool {
        self.has(Self::TEST_FAILED)
    }

    pub const fn pending(self) -> bool {
        self.has(Self::PENDING)
    }

    pub const fn confirmed(self) -> bool {
        self.has(Self::CONFIRMED)
    }

    /// Whether a request with this mask gets the code, on a server that supports the bits of
    /// `availability` alone: ISO 14229-1 clause on service 0x19, (status AND mask) not zero.
    pub const fn answers(self, mask: u8, availability: u8) -> bool {
        self.0 & mask & availability != 0
    }
}

/// At most forty characters of what stood there, for messages.
pub(super) fn shown(text: &str) -> String {
    text.trim().chars().take(40).collect()
}
