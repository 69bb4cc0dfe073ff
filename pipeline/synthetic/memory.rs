//! The codes a vehicle holds: how they are set, how they fade, what a clear takes away and what a
//! scan shows of them.
//!
//! Codes of one event stand or fall together, except those that stay latched. A plain clear removes
//! plain codes, a stubborn one with chance [`STUBBORN_GOES`], a protected one with chance
//! [`PROTECTED_SLIPS`]; the protected clear removes all. Which codes come is left to `floods`.

use super::facts::{CONFIRMED, Minute, PENDING, ScannedCode};
use super::models::Hold;
use super::modules::{Code, Module};
use super::streams::{Stream, chance, whole};

/// Chance that a plain clear takes a stubborn code.
pub const STUBBORN_GOES: f64 = 0.25;
/// Chance that a plain clear takes a protected code all the same.
pub const PROTECTED_SLIPS: f64 = 0.02;
/// Chance in a week that the modules erase an event's codes themselves, the fault being gone.
const FADES: f64 = 0.045;

/// One code in one module.
#[derive(Debug, Clone, Copy)]
pub struct Stored {
    pub module: usize,
    pub code: Code,
    pub hold: Hold,
    /// The event that set it.
    pub event: u32,
    pub of_supply: bool,
    pub confirmed: bool,
    pub occurrences: u8,
    /// The fault is still there: it comes back after a clear and does not fade.
    pub standing: bool,
}

/// The codes of one vehicle and the counters since the last clear.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    pub codes: Vec<Stored>,
    pub cleared_at: Minute,
    pub cleared_odometer_km: f64,
}

impl Memory {
    /// Stores a code; one that is there already is counted again.
    pub fn store(&mut self, new: Stored) {
        let there = self
            .codes
            .iter_mut()
            .find(|old| old.module == new.module && old.code == new.code);
        match there {
            Some(old) => {
                old.occurrences = old.occurrences.saturating_add(1).min(126);
                old.confirmed |= new.confirmed;
                old.standing |= new.standing;
                if old.hold == Hold::Plain {
                    old.event = new.event;
                    old.of_supply |= new.of_supply;
                }
            }
            None => self.codes.push(new),
        }
    }

    /// A week goes by.
    pub fn fade(&mut self, rng: &mut Stream) {
        if self.codes.is_empty() {
            return;
        }
        let mut events: Vec<u32> = self
            .codes
            .iter()
            .filter(|code| code.hold == Hold::Plain && !code.standing)
            .map(|code| code.event)
            .collect();
        events.sort_unstable();
        events.dedup();
        for event in events {
            if chance(rng, FADES) {
                self.codes.retain(|code| {
                    code.event != event || code.hold != Hold::Plain || code.standing
                });
            }
        }
    }

    /// The codes of a fault go with its repair at the next clear.
    pub fn repaired(&mut self, event: u32) {
        for code in self.codes.iter_mut().filter(|code| code.event == event) {
            code.standing = false;
        }
    }

    /// A clear; `protected` is the maker's own routine.
    pub fn clear(&mut self, rng: &mut Stream, protected: bool, at: Minute, odometer_km: f64) {
        self.codes.retain(|code| {
            let goes = match code.hold {
                _ if protected => true,
                Hold::Plain => true,
                Hold::Stubborn => chance(rng, STUBBORN_GOES),
                Hold::Protected => chance(rng, PROTECTED_SLIPS),
            };
            !goes || code.standing
        });
        self.counters_restart(at, odometer_km);
    }

    /// A clear or a disconnected battery restarts the counters.
    pub fn counters_restart(&mut self, at: Minute, odometer_km: f64) {
        self.cleared_at = at;
        self.cleared_odometer_km = odometer_km;
    }

    pub fn holds_latched(&self) -> bool {
        self.codes.iter().any(|code| code.hold != Hold::Plain)
    }

    pub fn holds_protected(&self) -> bool {
        self.codes.iter().any(|code| code.hold == Hold::Protected)
    }

    /// What a scan of these modules shows.
    pub fn shown(&self, rng: &mut Stream, modules: &[Module], asked: &[bool]) -> Vec<ScannedCode> {
        self.codes
            .iter()
            .filter(|code| asked.get(code.module) == Some(&true))
            .map(|code| ScannedCode {
                module: modules[code.module].address,
                code: code.code,
                status: status(rng, code.confirmed, code.standing),
                occurrences: code.occurrences,
                of_supply: code.of_supply,
                latched: code.hold != Hold::Plain,
            })
            .collect()
    }
}

/// Status bits: failed since the last clear (20), confirmed or pending, failing now (01, 02) where the
/// fault still stands.
fn status(rng: &mut Stream, confirmed: bool, standing: bool) -> u8 {
    const FAILED_SINCE_CLEAR: u8 = 0x20;
    let kept = if confirmed { CONFIRMED } else { PENDING };
    let again = if whole(rng, 0, 3) == 0 { PENDING } else { 0 };
    FAILED_SINCE_CLEAR | kept | again | if standing { 0x03 } else { 0 }
}
