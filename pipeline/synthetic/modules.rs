//! The control modules of the invented models and the codes they can store.
//!
//! Generic codes are those of SAE J2012 (numbers from memory where the project's reference does not
//! hold them) and, for heavy vehicles, suspect parameter and failure mode numbers of SAE J1939-73;
//! addresses are invented. Which codes come when is left to `floods` and `memory`. Nothing here fails.

use std::fmt;

/// A trouble code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Code {
    /// Five characters and the failure type byte.
    Light(&'static str, u8),
    /// Suspect parameter number and failure mode.
    Heavy(u32, u8),
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Code::Light(text, _) => f.write_str(text),
            Code::Heavy(spn, fmi) => write!(f, "SPN{spn}/FMI{fmi}"),
        }
    }
}

/// One control module.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Module {
    /// Address as a tool shows it.
    pub address: &'static str,
    /// What other modules store when this one is not heard.
    pub lost: Code,
    /// What other modules store when this one sends nonsense.
    pub invalid: Code,
    /// What it stores itself when its supply is low.
    pub low: Code,
    /// Which bus it sits on; 0 is the backbone.
    pub bus: u8,
}

const fn light(
    address: &'static str,
    lost: &'static str,
    invalid: &'static str,
    low: Code,
    bus: u8,
) -> Module {
    Module {
        address,
        lost: Code::Light(lost, 0x00),
        invalid: Code::Light(invalid, 0x00),
        low,
        bus,
    }
}

/// Failure type 16 hexadecimal: circuit voltage below threshold.
const BELOW: u8 = 0x16;
const SUPPLY_LOW: Code = Code::Light("U3003", BELOW);
const INPUT_POWER_LOW: Code = Code::Light("U3006", BELOW);
const SYSTEM_LOW: Code = Code::Light("P0562", 0x00);

/// Light vehicles' modules, the ones every vehicle has first.
const LIGHT: [Module; 26] = [
    light("7E8", "U0100", "U0401", SYSTEM_LOW, 0),
    light("7E9", "U0101", "U0402", SYSTEM_LOW, 0),
    light("748", "U0140", "U0422", SUPPLY_LOW, 0),
    light("728", "U0121", "U0415", SUPPLY_LOW, 0),
    light("751", "U0151", "U0452", SUPPLY_LOW, 0),
    light("755", "U0155", "U0423", SUPPLY_LOW, 1),
    light("730", "U0131", "U0420", INPUT_POWER_LOW, 0),
    light("72A", "U0126", "U0428", SUPPLY_LOW, 0),
    light("764", "U0164", "U0424", SUPPLY_LOW, 1),
    light("710", "U0146", "U0447", SUPPLY_LOW, 0),
    light("767", "U0167", "U0426", SUPPLY_LOW, 1),
    light("784", "U0184", "U0485", SUPPLY_LOW, 1),
    light("799", "U0199", "U0500", SUPPLY_LOW, 1),
    light("79A", "U0200", "U0501", SUPPLY_LOW, 1),
    light("729", "U0122", "U0416", INPUT_POWER_LOW, 0),
    light("7A9", "U0159", "U0460", SUPPLY_LOW, 2),
    light("7D6", "U0198", "U0499", SUPPLY_LOW, 1),
    light("7A8", "U0208", "U0509", SUPPLY_LOW, 1),
    light("741", "U0142", "U0443", SUPPLY_LOW, 0),
    light("7B5", "U023A", "U053B", SUPPLY_LOW, 2),
    light("7B6", "U0235", "U0536", SUPPLY_LOW, 2),
    light("7AB", "U0230", "U0531", SUPPLY_LOW, 1),
    light("7D2", "U0293", "U0594", Code::Light("P0A8D", 0x00), 3),
    light("7D0", "U0298", "U0599", Code::Light("P0A8D", 0x00), 3),
    light("7D1", "U0111", "U0412", INPUT_POWER_LOW, 3),
    light("7D3", "U0120", "U0421", INPUT_POWER_LOW, 3),
];

/// A silent heavy module is SPN 2000 plus its address with failure mode 9 (abnormal update rate);
/// nonsense is its own signal with failure mode 2 (erratic).
const fn heavy(
    address: &'static str,
    source_address: u32,
    signal_spn: u32,
    low: Code,
    bus: u8,
) -> Module {
    Module {
        address,
        lost: Code::Heavy(2000 + source_address, 9),
        invalid: Code::Heavy(signal_spn, 2),
        low,
        bus,
    }
}

/// Heavy vehicles' modules by their J1939 source address.
const HEAVY: [Module; 12] = [
    heavy("0", 0, 190, Code::Heavy(168, 18), 0),
    heavy("3", 3, 191, Code::Heavy(168, 4), 0),
    heavy("11", 11, 904, Code::Heavy(168, 1), 0),
    heavy("33", 33, 70, Code::Heavy(158, 4), 0),
    heavy("23", 23, 917, Code::Heavy(168, 4), 0),
    heavy("61", 61, 3251, Code::Heavy(168, 4), 1),
    heavy("49", 49, 96, Code::Heavy(158, 18), 0),
    heavy("25", 25, 441, Code::Heavy(168, 18), 0),
    heavy("42", 42, 1799, Code::Heavy(168, 4), 1),
    heavy("15", 15, 520, Code::Heavy(627, 4), 1),
    heavy("71", 71, 1807, Code::Heavy(627, 4), 0),
    heavy("47", 47, 573, Code::Heavy(158, 1), 1),
];

/// The bus itself is down.
pub fn bus_off(heavy: bool) -> Code {
    if heavy {
        Code::Heavy(639, 9)
    } else {
        Code::Light("U0073", 0x00)
    }
}

/// The light modules of a model: `common` of the list's first, and the four of a high-voltage
/// drive where it has one.
pub fn light_modules(common: usize, high_voltage: bool) -> Vec<Module> {
    let common = common.min(22);
    let mut modules = LIGHT[..common].to_vec();
    if high_voltage {
        modules.extend_from_slice(&LIGHT[22..]);
    }
    modules
}

/// The heavy modules of a model.
pub fn heavy_modules(count: usize) -> Vec<Module> {
    HEAVY[..count.min(HEAVY.len())].to_vec()
}

/// Circuit faults that have nothing to do with the supply or the network.
pub const LIGHT_FAULTS: [Code; 30] = [
    Code::Light("P0133", 0x00),
    Code::Light("P0420", 0x00),
    Code::Light("P0171", 0x00),
    Code::Light("P0301", 0x00),
    Code::Light("P0442", 0x00),
    Code::Light("P0128", 0x00),
    Code::Light("P0299", 0x00),
    Code::Light("P0401", 0x00),
    Code::Light("P0456", 0x00),
    Code::Light("C0035", 0x13),
    Code::Light("C0040", 0x13),
    Code::Light("C0045", 0x11),
    Code::Light("C0050", 0x13),
    Code::Light("C0110", 0x00),
    Code::Light("C0265", 0x00),
    Code::Light("B0081", 0x13),
    Code::Light("B0092", 0x13),
    Code::Light("B1015", 0x12),
    Code::Light("B1034", 0x13),
    Code::Light("B10A2", 0x11),
    Code::Light("B1205", 0x13),
    Code::Light("B12C3", 0x11),
    Code::Light("B1405", 0x13),
    Code::Light("B1A11", 0x12),
    Code::Light("B1A40", 0x13),
    Code::Light("B2290", 0x00),
    Code::Light("P0718", 0x00),
    Code::Light("P0741", 0x00),
    Code::Light("C1201", 0x00),
    Code::Light("B1325", 0x13),
];

/// The same for heavy vehicles.
pub const HEAVY_FAULTS: [Code; 24] = [
    Code::Heavy(110, 0),
    Code::Heavy(100, 1),
    Code::Heavy(102, 16),
    Code::Heavy(105, 3),
    Code::Heavy(94, 18),
    Code::Heavy(97, 3),
    Code::Heavy(111, 1),
    Code::Heavy(174, 0),
    Code::Heavy(411, 16),
    Code::Heavy(412, 3),
    Code::Heavy(651, 5),
    Code::Heavy(652, 5),
    Code::Heavy(654, 6),
    Code::Heavy(789, 8),
    Code::Heavy(790, 8),
    Code::Heavy(1081, 5),
    Code::Heavy(1127, 16),
    Code::Heavy(1172, 3),
    Code::Heavy(2791, 7),
    Code::Heavy(3031, 3),
    Code::Heavy(3216, 13),
    Code::Heavy(3361, 7),
    Code::Heavy(4364, 17),
    Code::Heavy(5246, 15),
];

/// Stored by a module after it was reprogrammed and not set up yet.
pub fn not_set_up(heavy: bool) -> Code {
    if heavy {
        Code::Heavy(629, 14)
    } else {
        Code::Light("U3000", 0x00)
    }
}
