//! Vehicle identification numbers: form (ISO 3779), check digit and model year (49 CFR 565).
//!
//! A text fails as a VIN by its length, by a character no VIN has (I, O, Q, anything but letters
//! and digits) or by being one character seventeen times. A check digit that does not agree is only
//! a remark, because the rule binds vehicles for North America alone. Who made the vehicle is not
//! decoded.

use std::fmt;

use thiserror::Error;

/// Characters of a VIN.
pub const VIN_LENGTH: usize = 17;

/// Index of the check digit (position 9).
const CHECK_INDEX: usize = 8;

/// Weight of each position, 49 CFR 565.15 Table IV.
const WEIGHTS: [u32; VIN_LENGTH] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// Why a text is no VIN. Positions count from 1 in the text without spaces, hyphens and asterisks.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum VinError {
    #[error("VIN '{vin}' has {found} characters, not 17: read it again from the vehicle")]
    Length { vin: String, found: usize },
    #[error("VIN '{vin}' has '{character}' at position {position}: {reason}")]
    Character {
        vin: String,
        character: char,
        position: usize,
        reason: &'static str,
    },
    #[error("VIN '{vin}' is one character seventeen times: a placeholder, not a vehicle")]
    AllSame { vin: String },
}

/// What the check digit says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckDigit {
    Agrees,
    /// It differs on a VIN of a North American maker, where the rule binds: most likely misread.
    Wrong {
        found: char,
        expected: char,
    },
    /// It differs on a VIN from elsewhere, where the position may hold anything: no fault.
    DoesNotApply {
        found: char,
        expected: char,
    },
}

/// A well-formed VIN: seventeen upper-case characters.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Vin([u8; VIN_LENGTH]);

impl Vin {
    /// Reads a VIN. Case, spaces, hyphens and the asterisks of labels do not count.
    pub fn parse(text: &str) -> Result<Vin, VinError> {
        let shown = || text.trim().chars().take(40).collect::<String>();
        let mut characters = [0u8; VIN_LENGTH];
        let mut found = 0;
        for character in text.chars() {
            if character.is_whitespace() || matches!(character, '-' | '*') {
                continue;
            }
            let upper = character.to_ascii_uppercase();
            if found < VIN_LENGTH {
                if let Some(reason) = not_in_a_vin(upper) {
                    // A wrong length says more than a wrong character, so the length goes first.
                    let length = counted_length(text);
                    if length != VIN_LENGTH {
                        return Err(VinError::Length {
                            vin: shown(),
                            found: length,
                        });
                    }
                    return Err(VinError::Character {
                        vin: shown(),
                        character,
                        position: found + 1,
                        reason,
                    });
                }
                characters[found] = upper as u8;
            }
            found += 1;
        }
        if found != VIN_LENGTH {
            return Err(VinError::Length {
                vin: shown(),
                found,
            });
        }
        if characters.iter().all(|c| *c == characters[0]) {
            return Err(VinError::AllSame { vin: shown() });
        }
        Ok(Vin(characters))
    }

    /// The seventeen characters.
    pub fn as_str(&self) -> &str {
        // Only ASCII letters and digits are ever stored, so this always holds.
        std::str::from_utf8(&self.0).unwrap_or_default()
    }

    /// Whether the number was given for North America, by its first character: 1, 4, 5 and 7 the
    /// United States, 2 Canada, 3 Mexico (ISO 3780 regions, from memory).
    pub fn is_north_american(&self) -> bool {
        matches!(self.0[0], b'1'..=b'5' | b'7')
    }

    /// What the check digit says: 49 CFR 565.15(c).
    pub fn check_digit(&self) -> CheckDigit {
        let found = self.0[CHECK_INDEX] as char;
        let expected = check_digit_of(&self.0);
        if found == expected {
            CheckDigit::Agrees
        } else if self.is_north_american() {
            CheckDigit::Wrong { found, expected }
        } else {
            CheckDigit::DoesNotApply { found, expected }
        }
    }

    /// The two model years that position 10 can mean, thirty years apart: 49 CFR 565.15 Table VII.
    /// `None` for a character the table does not use, as many VINs from elsewhere have.
    pub fn model_years(&self) -> Option<(i32, i32)> {
        const CODES: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";
        let place = CODES.iter().position(|code| *code == self.0[9])?;
        let early = 1980 + i32::try_from(place).ok()?;
        Some((early, early + 30))
    }

    /// The model year, no later than `latest_year`.
    ///
    /// For a light vehicle for North America (car, or truck up to 4,536 kg) position 7 settles the
    /// cycle: a digit means 1980 to 2009, a letter 2010 to 2039 (49 CFR 565.15(b)). Otherwise it is
    /// the later of the two years that is not after `latest_year`. `None` if neither fits.
    pub fn model_year(&self, latest_year: i32, light_vehicle: bool) -> Option<i32> {
        let (early, late) = self.model_years()?;
        let year = if light_vehicle && self.is_north_american() {
            if self.0[6].is_ascii_digit() {
                early
            } else {
                late
            }
        } else if late <= latest_year {
            late
        } else {
            early
        };
        (year <= latest_year).then_some(year)
    }
}

impl fmt::Display for Vin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl fmt::Debug for Vin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Vin({})", self.as_str())
    }
}

/// The check digit these seventeen characters should have at position 9; what stands there does
/// not count. `None` unless there are seventeen characters a VIN may have.
pub fn make_check_digit(text: &str) -> Option<char> {
    let characters: [u8; VIN_LENGTH] = text.as_bytes().try_into().ok()?;
    let mut upper = characters.map(|c| c.to_ascii_uppercase());
    upper[CHECK_INDEX] = b'0';
    if upper.iter().any(|c| not_in_a_vin(*c as char).is_some()) {
        return None;
    }
    Some(check_digit_of(&upper))
}

/// Weighted sum of the transliterated characters, modulo 11; 10 is written X.
fn check_digit_of(characters: &[u8; VIN_LENGTH]) -> char {
    let sum: u32 = characters
        .iter()
        .zip(WEIGHTS)
        .map(|(c, weight)| transliterate(*c) * weight)
        .sum();
    match sum % 11 {
        10 => 'X',
        digit => char::from_digit(digit, 10).unwrap_or('0'),
    }
}

/// Value of a character, 49 CFR 565.15 Table III.
fn transliterate(character: u8) -> u32 {
    match character {
        b'0'..=b'9' => u32::from(character - b'0'),
        b'A'..=b'H' => u32::from(character - b'A') + 1,
        b'J'..=b'N' => u32::from(character - b'J') + 1,
        b'P' => 7,
        b'R' => 9,
        b'S'..=b'Z' => u32::from(character - b'S') + 2,
        _ => 0,
    }
}

fn not_in_a_vin(upper: char) -> Option<&'static str> {
    match upper {
        'I' => Some("a VIN has no letter I, probably a 1"),
        'O' | 'Q' => Some("a VIN has no letters O and Q, probably a 0"),
        'A'..='Z' | '0'..='9' => None,
        _ => Some("a VIN has only letters and digits"),
    }
}

fn counted_length(text: &str) -> usize {
    text.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '*'))
        .count()
}
