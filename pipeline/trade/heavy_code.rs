//! Trouble codes of heavy vehicles: SPN, FMI and occurrence count (SAE J1939-73), and the one
//! reader for the lake's `code` column, which holds both kinds.
//!
//! The messages that carry them are in [`super::diagnostics`]. Numbers out of their range are
//! refused with the value.

use std::fmt;

use super::trouble_code::{CodeError, TroubleCode, shown};

/// Highest suspect parameter number: nineteen bits.
pub const SPN_MAX: u32 = 0x7_FFFF;
/// Highest failure mode identifier: five bits.
pub const FMI_MAX: u8 = 31;

/// What is wrong where: `SPN168/FMI1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct HeavyCode {
    spn: u32,
    fmi: u8,
}

impl HeavyCode {
    /// `None` where a number is out of range.
    pub const fn new(spn: u32, fmi: u8) -> Option<Self> {
        if spn <= SPN_MAX && fmi <= FMI_MAX {
            Some(HeavyCode { spn, fmi })
        } else {
            None
        }
    }

    /// From the lowest nineteen and five bits; those above do not count.
    pub(super) const fn from_bits(spn: u32, fmi: u8) -> Self {
        HeavyCode {
            spn: spn & SPN_MAX,
            fmi: fmi & FMI_MAX,
        }
    }

    /// Suspect parameter number, 0 to 524287.
    pub const fn spn(self) -> u32 {
        self.spn
    }

    /// Failure mode identifier, 0 to 31.
    pub const fn fmi(self) -> u8 {
        self.fmi
    }

    /// Reads `SPN168/FMI1` in any case, with spaces, a comma, a hyphen or a slash between.
    pub fn parse(text: &str) -> Result<Self, CodeError> {
        let trimmed = text.trim();
        let mut rest = Rest {
            whole: trimmed,
            at: 0,
        };
        rest.word("spn", "SPN")?;
        let spn = rest.number("the SPN's digits")?;
        rest.word("fmi", "FMI")?;
        let fmi = rest.number("the FMI's digits")?;
        rest.end()?;
        match (u32::try_from(spn), u8::try_from(fmi)) {
            (Ok(spn), Ok(fmi)) if fmi <= FMI_MAX && spn <= SPN_MAX => Ok(HeavyCode { spn, fmi }),
            (Ok(0..=SPN_MAX), _) => Err(CodeError::FmiRange {
                code: shown(trimmed),
                fmi,
            }),
            _ => Err(CodeError::SpnRange {
                code: shown(trimmed),
                spn,
            }),
        }
    }
}

impl fmt::Display for HeavyCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SPN{}/FMI{}", self.spn, self.fmi)
    }
}

/// Any code the lake stores.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Code {
    Road(TroubleCode),
    Heavy(HeavyCode),
}

impl Code {
    /// Reads either kind; a text that begins with `SPN` is a heavy vehicle's.
    pub fn parse(text: &str) -> Result<Self, CodeError> {
        let start = text.trim().as_bytes();
        if start.len() >= 3 && start[..3].eq_ignore_ascii_case(b"spn") {
            HeavyCode::parse(text).map(Code::Heavy)
        } else {
            TroubleCode::parse(text).map(Code::Road)
        }
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Code::Road(code) => code.fmt(f),
            Code::Heavy(code) => code.fmt(f),
        }
    }
}

/// What failure mode an FMI names, in our words after SAE J1939-73 (from memory).
pub const fn fmi_text(fmi: u8) -> &'static str {
    match fmi {
        0 => "above normal, most severe",
        1 => "below normal, most severe",
        2 => "erratic or incorrect data",
        3 => "voltage above normal or shorted high",
        4 => "voltage below normal or shorted low",
        5 => "current below normal or circuit open",
        6 => "current above normal or circuit grounded",
        7 => "mechanical system not responding",
        8 => "abnormal frequency or pulse width",
        9 => "abnormal update rate",
        10 => "abnormal rate of change",
        11 => "cause not known",
        12 => "bad device or component",
        13 => "out of calibration",
        14 => "special instructions",
        15 => "above normal, least severe",
        16 => "above normal, moderately severe",
        17 => "below normal, least severe",
        18 => "below normal, moderately severe",
        19 => "network data in error",
        20 => "drifted high",
        21 => "drifted low",
        31 => "condition exists",
        _ => "reserved",
    }
}

/// What is still to be read of a heavy vehicle's code.
struct Rest<'a> {
    whole: &'a str,
    at: usize,
}

impl Rest<'_> {
    fn left(&self) -> &str {
        self.whole.get(self.at..).unwrap_or_default()
    }

    fn skip_marks(&mut self) {
        let left = self.left();
        let marks = left.len()
            - left
                .trim_start_matches([' ', '/', '-', ',', ':', '=', '\t'])
                .len();
        self.at += marks;
    }

    fn word(&mut self, word: &str, expected: &'static str) -> Result<(), CodeError> {
        self.skip_marks();
        match self.left().get(..word.len()) {
            Some(found) if found.eq_ignore_ascii_case(word) => {
                self.at += word.len();
                Ok(())
            }
            _ => Err(self.wrong(expected)),
        }
    }

    fn number(&mut self, expected: &'static str) -> Result<u64, CodeError> {
        self.skip_marks();
        let left = self.left();
        let digits = left.len() - left.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        // No digits is a wrong character; too many for a u64 is out of any range.
        if digits == 0 {
            return Err(self.wrong(expected));
        }
        let number = left[..digits].parse().unwrap_or(u64::MAX);
        self.at += digits;
        Ok(number)
    }

    fn end(&self) -> Result<(), CodeError> {
        if self.left().is_empty() {
            Ok(())
        } else {
            Err(self.wrong("nothing more"))
        }
    }

    fn wrong(&self, expected: &'static str) -> CodeError {
        let code = shown(self.whole);
        match self.left().chars().next() {
            Some(character) => {
                let position = self
                    .whole
                    .get(..self.at)
                    .unwrap_or_default()
                    .chars()
                    .count()
                    + 1;
                CodeError::Character {
                    code,
                    character,
                    position,
                    expected,
                }
            }
            None => CodeError::Ends { code, expected },
        }
    }
}
