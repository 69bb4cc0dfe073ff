//! Short descriptions, in our own words, of the generic codes the analysis leans on, and of the
//! failure type bytes.
//!
//! This is no catalogue: a code that is not here is described by its range, or not at all. Makers
//! reword the generic texts and set their own limits.

use super::heavy_code::{Code, HeavyCode};
use super::trouble_code::{Origin, System, TroubleCode};

/// What a code means, as far as the standards fix it; `None` where the maker decides.
///
/// Meanings are the generic texts of SAE J2012 and J1939, from memory: the standards are not public.
pub const fn describe(code: Code) -> Option<&'static str> {
    match code {
        Code::Road(code) => describe_road(code),
        Code::Heavy(code) => describe_heavy(code),
    }
}

const fn describe_road(code: TroubleCode) -> Option<&'static str> {
    Some(match (code.system(), code.number()) {
        (System::Powertrain, number) => match number {
            0x0560 => "supply voltage not as expected",
            0x0561 => "supply voltage not steady",
            0x0562 => "supply voltage too low",
            0x0563 => "supply voltage too high",
            0x0620 => "fault in the generator's control circuit",
            0x0621 => "fault in the charge lamp circuit",
            0x0622 => "fault in the generator's field circuit",
            0x0625 => "generator field terminal reads low",
            0x0626 => "generator field terminal reads high",
            0x065B => "generator control does not do what is asked",
            0x0685 => "power relay of the control module: circuit open",
            0x068A => "power relay of the control module dropped too early",
            0x2503 => "charging voltage too low",
            0x2504 => "charging voltage too high",
            0x0A7F => "traction battery worn",
            0x0A80 => "traction battery to be replaced",
            0x0A8B => "14 V supply module: voltage not as expected",
            0x0A8D => "14 V supply module: voltage too low",
            0x0A8E => "14 V supply module: voltage too high",
            _ => return None,
        },
        (System::Network, number) => match number {
            0x0001 => "fast bus does not work",
            0x0073 => "bus A is off",
            0x0100 => "engine control does not answer",
            0x0101 => "transmission control does not answer",
            0x0120 => "starter-generator control does not answer",
            0x0121 => "anti-lock brakes do not answer",
            0x0122 => "stability control does not answer",
            0x0126 => "steering angle sensor does not answer",
            0x0140 => "body control does not answer",
            0x0142 => "second body control does not answer",
            0x0151 => "restraint control does not answer",
            0x0155 => "instrument panel does not answer",
            0x3003 => "battery voltage out of limits",
            0x3006 => "first power feed of the module at fault",
            0x3007 => "second power feed of the module at fault",
            0x0002..=0x00FF => "a bus does not work",
            0x0102..=0x02FF => "a module does not answer",
            0x0300..=0x03FF => "software of two modules does not match",
            0x0400..=0x05FF => "a module sends data that cannot be right",
            _ => return None,
        },
        _ => return None,
    })
}

const fn describe_heavy(code: HeavyCode) -> Option<&'static str> {
    Some(match code.spn() {
        158 => "battery voltage at the key switch",
        167 => "charging voltage",
        168 => "battery voltage at the first power input",
        444 => "battery voltage at the second power input",
        627 => "power supply of the module",
        639 => "first vehicle network",
        1231 => "second vehicle network",
        1235 => "third vehicle network",
        2000..=2255 => "a module does not answer",
        _ => return None,
    })
}

/// What a failure type byte says: ISO 14229-1 and SAE J2012-DA, as listed alike in several public
/// decoding tables; `None` for those we do not describe.
pub const fn failure_type_text(failure_type: u8) -> Option<&'static str> {
    Some(match failure_type {
        0x00 => "no more said",
        0x08 => "fault of a bus signal or message",
        0x11 => "short to ground",
        0x12 => "short to supply",
        0x13 => "circuit open",
        0x16 => "voltage below its limit",
        0x17 => "voltage above its limit",
        0x1C => "voltage out of range",
        0x1F => "comes and goes",
        0x29 => "signal invalid",
        0x2F => "signal erratic",
        0x62 => "two signals disagree",
        0x64 => "signal not plausible",
        0x81 => "invalid data received",
        0x82 => "message counter wrong",
        0x83 => "message check value wrong",
        0x86 => "signal in the message invalid",
        0x87 => "message missing",
        0x88 => "bus off",
        _ => return None,
    })
}

/// One line for a code: its meaning, or who defines it.
pub const fn describe_or_origin(code: Code) -> &'static str {
    match (describe(code), code) {
        (Some(text), _) => text,
        (None, Code::Heavy(_)) => "heavy vehicle code",
        (None, Code::Road(road)) => match road.origin() {
            Origin::Standard => "generic code",
            Origin::Maker => "maker's own code",
            Origin::Reserved => "code in a reserved range",
        },
    }
}
