//! Codes of heavy vehicles: the messages DM1 and DM2 of SAE J1939-73, and those of the same layout.
//!
//! Two bytes of lamps, then four bytes a code. With the conversion bit at 0 the layout is certain;
//! with the bit at 1 a module follows one of three older layouts which the message does not name, so
//! the caller chooses and the code says that it was so read. Messages longer than eight bytes must
//! be joined first, see [`super::broadcast`].

use super::{Bytes, DecodeError};
use crate::heavy_code::HeavyCode;

/// Which codes a message lists. Numbers of DM1 and DM2 are published; the others from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum List {
    /// DM1: active now.
    Active,
    /// DM2: active before.
    PreviouslyActive,
    /// DM6: pending, emissions.
    Pending,
    /// DM12: confirmed and active, emissions.
    ConfirmedActive,
    /// DM23: confirmed and active before, emissions.
    ConfirmedPreviously,
    /// DM28: permanent, emissions.
    Permanent,
}

impl List {
    /// The list of a parameter group; `None` for other messages.
    pub const fn of_group(group: u32) -> Option<Self> {
        match group {
            65226 => Some(List::Active),
            65227 => Some(List::PreviouslyActive),
            65231 => Some(List::Pending),
            65236 => Some(List::ConfirmedActive),
            64949 => Some(List::ConfirmedPreviously),
            64896 => Some(List::Permanent),
            _ => None,
        }
    }
}

/// What a lamp does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LampState {
    Off,
    On,
    Error,
    NotAvailable,
}

/// How a lamp flashes (values from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flash {
    Slow,
    Fast,
    Reserved,
    SteadyOrNotAvailable,
}

/// The four lamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lamps {
    bytes: [u8; 2],
}

/// One of the four lamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lamp {
    Protect,
    AmberWarning,
    RedStop,
    Malfunction,
}

impl Lamps {
    /// From the first two bytes of the message.
    pub const fn new(bytes: [u8; 2]) -> Self {
        Lamps { bytes }
    }

    const fn two_bits(byte: u8, lamp: Lamp) -> u8 {
        byte >> (lamp as u8 * 2) & 3
    }

    /// What the lamp does.
    pub const fn state(self, lamp: Lamp) -> LampState {
        match Self::two_bits(self.bytes[0], lamp) {
            0 => LampState::Off,
            1 => LampState::On,
            2 => LampState::Error,
            _ => LampState::NotAvailable,
        }
    }

    /// How the lamp flashes.
    pub const fn flash(self, lamp: Lamp) -> Flash {
        match Self::two_bits(self.bytes[1], lamp) {
            0 => Flash::Slow,
            1 => Flash::Fast,
            2 => Flash::Reserved,
            _ => Flash::SteadyOrNotAvailable,
        }
    }
}

/// Layout of the four bytes of a code. Versions 1 to 3 are from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Layout {
    /// SPN high byte first, its lowest three bits beside the FMI.
    Version1,
    /// Middle byte first, then high byte, lowest three bits beside the FMI.
    Version2,
    /// Low byte first, highest three bits beside the FMI, conversion bit 1.
    #[default]
    Version3,
    /// As version 3 with conversion bit 0: the one in use today.
    Version4,
}

/// One code of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ActiveCode {
    pub code: HeavyCode,
    /// 0 to 126; `None` where the module does not count (127).
    pub occurrence_count: Option<u8>,
    /// How the bytes were taken. Any but version 4 is the caller's choice, not the message's word.
    pub layout: Layout,
}

/// Lamps and codes of one module.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ActiveCodes {
    pub lamps: Lamps,
    pub codes: Vec<ActiveCode>,
}

/// Reads the data of a DM1, DM2 or like message. Codes with the conversion bit set are taken by
/// `older_layout`. No code is four bytes of 00 or, from older units, FF.
pub fn read_active_codes(data: &[u8], older_layout: Layout) -> Result<ActiveCodes, DecodeError> {
    let mut bytes = Bytes::new(data);
    let lamps = Lamps::new(bytes.take("two bytes of lamps")?);
    let mut codes = Vec::with_capacity(bytes.left().len() / 4);
    while !bytes.left().is_empty() {
        // A frame with one code has two bytes over.
        if bytes.left().len() < 4 && bytes.only_padding_left() {
            break;
        }
        let entry: [u8; 4] = bytes.take("a code of four bytes")?;
        if entry != [0x00; 4] && entry != [0xFF; 4] {
            codes.push(read_code(entry, older_layout));
        }
    }
    Ok(ActiveCodes { lamps, codes })
}

fn read_code([first, second, third, last]: [u8; 4], older_layout: Layout) -> ActiveCode {
    let (first, second, third) = (u32::from(first), u32::from(second), u32::from(third));
    // Version 4 is the one layout that a set conversion bit rules out; version 3 is its like.
    let layout = match (last & 0x80 == 0, older_layout) {
        (true, _) => Layout::Version4,
        (false, Layout::Version4) => Layout::Version3,
        (false, older) => older,
    };
    let three_bits = third >> 5;
    let spn = match layout {
        Layout::Version1 => first << 11 | second << 3 | three_bits,
        Layout::Version2 => second << 11 | first << 3 | three_bits,
        Layout::Version3 | Layout::Version4 => three_bits << 16 | second << 8 | first,
    };
    let count = last & 0x7F;
    ActiveCode {
        // Nineteen and five bits are all that the shifts leave.
        code: HeavyCode::from_bits(spn, third as u8),
        occurrence_count: (count != 0x7F).then_some(count),
        layout,
    }
}

/// The four bytes of a code: the inverse of reading it.
pub fn write_code(code: &ActiveCode) -> [u8; 4] {
    let spn = code.code.spn();
    let (low, middle, high) = (spn as u8, (spn >> 8) as u8, (spn >> 16) as u8);
    let beside = |three_bits: u8| three_bits << 5 | code.code.fmi();
    let conversion = if code.layout == Layout::Version4 {
        0
    } else {
        0x80
    };
    let last = conversion | code.occurrence_count.unwrap_or(0x7F) & 0x7F;
    match code.layout {
        Layout::Version1 => [(spn >> 11) as u8, (spn >> 3) as u8, beside(low & 7), last],
        Layout::Version2 => [(spn >> 3) as u8, (spn >> 11) as u8, beside(low & 7), last],
        Layout::Version3 | Layout::Version4 => [low, middle, beside(high), last],
    }
}

/// The data of a message with these lamps and codes; without a code, or with one, eight bytes.
pub fn write_active_codes(lamps: Lamps, codes: &[ActiveCode]) -> Vec<u8> {
    let mut data = lamps.bytes.to_vec();
    if codes.is_empty() {
        data.extend([0x00; 4]);
    }
    data.extend(codes.iter().flat_map(write_code));
    data.resize(data.len().max(8), 0xFF);
    data
}
