//! What kind of trouble a code tells of: supply voltage, lost communication, implausible signal or
//! other.
//!
//! The built-in rules use only what the standards fix: code ranges (SAE J2012), failure types
//! (ISO 14229-1, SAE J2012-DA), SPN and FMI (SAE J1939-73). Codes whose meaning is the maker's own
//! come from a table the user writes, `code_groups.toml`, which goes before the built-in rules:
//!
//! ```toml
//! [[codes]]
//! first = "P1A10"          # one code, or the first of a range
//! last = "P1A1F"           # optional
//! failure_type = "16"      # optional, two hex digits: only with this failure type
//! make = "Corlund"         # optional: only for this make
//! group = "supply voltage"
//!
//! [[codes]]
//! spn = 521000             # for heavy vehicles; `fmi = 4` narrows it
//! group = "lost communication"
//! ```
//!
//! A table with a wrong entry is refused as a whole, naming the entry.

use serde::Deserialize;
use thiserror::Error;

use super::heavy_code::{Code, FMI_MAX, HeavyCode, SPN_MAX};
use super::trouble_code::{CodeError, System, TroubleCode};
use super::words::{CodeGroup, UnknownWord};

/// Why a table of code groups cannot be used.
#[derive(Debug, Error)]
pub enum CodeGroupError {
    #[error("the table of code groups is not readable TOML: {0}")]
    Toml(#[from] toml::de::Error),
    #[error("[[codes]] entry {entry}: {source}")]
    Code { entry: usize, source: CodeError },
    #[error("[[codes]] entry {entry}: {source}")]
    Group { entry: usize, source: UnknownWord },
    #[error(
        "[[codes]] entry {entry}: failure_type '{found}' is not two hex digits, such as \"16\""
    )]
    FailureType { entry: usize, found: String },
    #[error("[[codes]] entry {entry}: {what}")]
    Shape { entry: usize, what: &'static str },
}

/// The built-in rules and, before them, the user's.
#[derive(Debug, Clone, Default)]
pub struct CodeGroups {
    user_rules: Vec<Rule>,
    table: Option<String>,
}

impl CodeGroups {
    /// The built-in rules alone.
    pub fn builtin() -> Self {
        Self::default()
    }

    /// The built-in rules after those of this table; its first fitting entry counts.
    pub fn with_table(table: &str) -> Result<Self, CodeGroupError> {
        let read: Table = toml::from_str(table)?;
        let rules = read
            .codes
            .into_iter()
            .enumerate()
            .map(|(index, entry)| entry.rule(index + 1));
        Ok(CodeGroups {
            user_rules: rules.collect::<Result<_, _>>()?,
            table: Some(table.to_owned()),
        })
    }

    /// The user's table, so that other machines can group by it too.
    pub fn table(&self) -> Option<&str> {
        self.table.as_deref()
    }

    /// The group of a code. `failure_type` is the third byte of a three-byte code; `make` is the
    /// vehicle's, for rules that hold for one make.
    pub fn group(&self, code: Code, failure_type: Option<u8>, make: Option<&str>) -> CodeGroup {
        let user = self
            .user_rules
            .iter()
            .find(|rule| rule.fits(code, failure_type, make));
        match (user, code) {
            (Some(rule), _) => rule.group,
            (None, Code::Road(code)) => road_group(code, failure_type),
            (None, Code::Heavy(code)) => heavy_group(code),
        }
    }

    /// The group of a code as the lake stores it; a text that is no code is `Other`.
    pub fn group_of_text(
        &self,
        code: &str,
        failure_type: Option<u8>,
        make: Option<&str>,
    ) -> CodeGroup {
        Code::parse(code).map_or(CodeGroup::Other, |code| {
            self.group(code, failure_type, make)
        })
    }
}

/// Ranges of SAE J2012, then the failure type. The meanings are from memory: the standard is not
/// public.
fn road_group(code: TroubleCode, failure_type: Option<u8>) -> CodeGroup {
    match (code.system(), code.number()) {
        // System voltage; generator and its control; power relay of the control module; charging.
        (System::Powertrain, 0x0560..=0x0563 | 0x0620..=0x0626 | 0x065B | 0x0685..=0x0690) => {
            CodeGroup::SupplyVoltage
        }
        (System::Powertrain, 0x2503..=0x2504 | 0x0A8B..=0x0A8E) => CodeGroup::SupplyVoltage,
        // Battery voltage, then a module's own feeds and grounds.
        (System::Network, 0x3003 | 0x3006..=0x3009) => CodeGroup::SupplyVoltage,
        // Software that does not match is neither lost nor implausible.
        (System::Network, 0x0300..=0x03FF) => CodeGroup::Other,
        (System::Network, 0x0400..=0x05FF) => CodeGroup::ImplausibleSignal,
        (System::Network, 0x0001..=0x02FF) => {
            if failure_type.is_some_and(says_implausible) {
                CodeGroup::ImplausibleSignal
            } else {
                CodeGroup::LostCommunication
            }
        }
        _ => match failure_type {
            Some(0x87 | 0x88) => CodeGroup::LostCommunication,
            Some(byte) if says_implausible(byte) => CodeGroup::ImplausibleSignal,
            _ => CodeGroup::Other,
        },
    }
}

/// Failure types that say a signal arrived and cannot be right (ISO 14229-1 and SAE J2012-DA, as
/// listed alike in several public decoding tables): 29 invalid, 2F erratic, 61 to 67 calculation, comparison, plausibility and transitions,
/// 81 to 86 message content, 8F erratic message.
const fn says_implausible(failure_type: u8) -> bool {
    matches!(failure_type, 0x29 | 0x2F | 0x61 | 0x62 | 0x64..=0x67 | 0x81..=0x86 | 0x8F)
}

/// SPN, then FMI (SAE J1939-73; names from memory): 158 key switch battery potential, 167 charging
/// potential, 168 and 444 battery potential, 627 power supply; 639, 1231 and 1235 the networks,
/// 2000 to 2255 the address of a silent module.
fn heavy_group(code: HeavyCode) -> CodeGroup {
    match (code.spn(), code.fmi()) {
        (158 | 167 | 168 | 444 | 627, _) => CodeGroup::SupplyVoltage,
        (639 | 1231 | 1235 | 2000..=2255, _) | (_, 9) => CodeGroup::LostCommunication,
        (_, 2 | 10 | 19 | 20 | 21) => CodeGroup::ImplausibleSignal,
        _ => CodeGroup::Other,
    }
}

#[derive(Debug, Clone)]
struct Rule {
    codes: Codes,
    make: Option<String>,
    group: CodeGroup,
}

#[derive(Debug, Clone, Copy)]
enum Codes {
    Road {
        first: TroubleCode,
        last: TroubleCode,
        failure_type: Option<u8>,
    },
    Heavy {
        spn: u32,
        fmi: Option<u8>,
    },
}

impl Rule {
    fn fits(&self, code: Code, with_failure_type: Option<u8>, of_make: Option<&str>) -> bool {
        let make_fits = match &self.make {
            None => true,
            Some(make) => of_make.is_some_and(|of| of.trim().eq_ignore_ascii_case(make)),
        };
        make_fits
            && match (self.codes, code) {
                (
                    Codes::Road {
                        first,
                        last,
                        failure_type,
                    },
                    Code::Road(code),
                ) => {
                    (first..=last).contains(&code)
                        && failure_type.is_none_or(|byte| with_failure_type == Some(byte))
                }
                (Codes::Heavy { spn, fmi }, Code::Heavy(code)) => {
                    code.spn() == spn && fmi.is_none_or(|fmi| code.fmi() == fmi)
                }
                _ => false,
            }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    #[serde(default)]
    codes: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    first: Option<String>,
    last: Option<String>,
    failure_type: Option<String>,
    spn: Option<u32>,
    fmi: Option<u8>,
    make: Option<String>,
    group: String,
}

impl Entry {
    fn rule(self, entry: usize) -> Result<Rule, CodeGroupError> {
        let group = CodeGroup::parse(&self.group)
            .map_err(|source| CodeGroupError::Group { entry, source })?;
        let codes = match (&self.first, self.spn) {
            (Some(first), None) => self.road(first, entry)?,
            (None, Some(spn)) => self.heavy(spn, entry)?,
            _ => {
                return Err(CodeGroupError::Shape {
                    entry,
                    what: "give either `first` (a code) or `spn`",
                });
            }
        };
        Ok(Rule {
            codes,
            make: self.make.map(|make| make.trim().to_owned()),
            group,
        })
    }

    fn road(&self, first: &str, entry: usize) -> Result<Codes, CodeGroupError> {
        let read = |text: &str| {
            TroubleCode::parse(text).map_err(|source| CodeGroupError::Code { entry, source })
        };
        let first = read(first)?;
        let last = self.last.as_deref().map_or(Ok(first), read)?;
        let what = if last < first || last.system() != first.system() {
            "`last` must not stand before `first` and must have its letter"
        } else if self.fmi.is_some() {
            "`fmi` goes with `spn`, `failure_type` with `first`"
        } else {
            let failure_type = self
                .failure_type
                .as_deref()
                .map(|text| hex_byte(text, entry))
                .transpose()?;
            return Ok(Codes::Road {
                first,
                last,
                failure_type,
            });
        };
        Err(CodeGroupError::Shape { entry, what })
    }

    fn heavy(&self, spn: u32, entry: usize) -> Result<Codes, CodeGroupError> {
        let what = if self.last.is_some() || self.failure_type.is_some() {
            "`last` and `failure_type` go with `first`, not with `spn`"
        } else if spn > SPN_MAX || self.fmi.is_some_and(|fmi| fmi > FMI_MAX) {
            "`spn` is 0 to 524287 and `fmi` 0 to 31"
        } else {
            return Ok(Codes::Heavy { spn, fmi: self.fmi });
        };
        Err(CodeGroupError::Shape { entry, what })
    }
}

fn hex_byte(text: &str, entry: usize) -> Result<u8, CodeGroupError> {
    let trimmed = text.trim();
    match u8::from_str_radix(trimmed, 16) {
        Ok(byte) if trimmed.len() == 2 && !trimmed.starts_with('+') => Ok(byte),
        _ => Err(CodeGroupError::FailureType {
            entry,
            found: trimmed.to_owned(),
        }),
    }
}
