//! What all exports of one shop have in common: zone, delimiter, marks, words.

use super::{Dialect, PLAIN, Unit, Words};

pub const KM: Unit = Unit::Own("km");
pub const VOLT: Unit = Unit::Own("V");
pub const AMPERE: Unit = Unit::Own("A");
pub const HOUR: Unit = Unit::Own("h");

pub const CORLUND: Dialect = Dialect {
    shop: Some("Corlund"),
    time_zone: "America/Chicago",
    ..PLAIN
};
pub const MERVANE: Dialect = Dialect {
    shop: Some("Mervane"),
    time_zone: "Europe/Berlin",
    delimiter: b';',
    decimal_mark: ',',
    ..PLAIN
};
pub const TOLBRAX: Dialect = Dialect {
    shop: Some("Tolbrax"),
    delimiter: b'\t',
    ..PLAIN
};
pub const OXHELM: Dialect = Dialect {
    shop: Some("Oxhelm"),
    time_zone: "America/Phoenix",
    ..PLAIN
};
pub const YARROWBY: Dialect = Dialect {
    time_zone: "Asia/Kolkata",
    delimiter: b';',
    ..PLAIN
};
pub const DRAYWRIGHT: Dialect = Dialect {
    shop: Some("Draywright"),
    time_zone: "America/Denver",
    delimiter: b'|',
    ..PLAIN
};

pub const CHEMISTRY_GERMAN: Words = &[("Nass", "flooded"), ("EFB", "EFB"), ("Vlies", "AGM")];
pub const PLACE_NUMBERS: Words = &[("1", "main"), ("2", "auxiliary")];
