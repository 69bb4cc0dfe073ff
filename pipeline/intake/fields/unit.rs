//! Units a column may be in, and their conversion to the lake's own.
//!
//! Factors are exact by definition: the international mile is 1,609.344 m (international yard and
//! pound agreement of 1959), t(°F) = 1.8 t(°C) + 32 and 0 °C = 273.15 K (BIPM, The International
//! System of Units, 9th edition).

/// What a unit measures, named by the unit the lake keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    Volt,
    Ampere,
    Siemens,
    Milliohm,
    Celsius,
    Kilometre,
    Second,
    Hour,
}

impl Dimension {
    /// The lake's unit, as printed.
    pub fn symbol(self) -> &'static str {
        match self {
            Dimension::Volt => "V",
            Dimension::Ampere => "A",
            Dimension::Siemens => "S",
            Dimension::Milliohm => "mOhm",
            Dimension::Celsius => "degC",
            Dimension::Kilometre => "km",
            Dimension::Second => "s",
            Dimension::Hour => "h",
        }
    }
}

/// A unit: `lake value = value * factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    pub symbol: &'static str,
    pub dimension: Dimension,
    factor: f64,
    offset: f64,
}

const fn unit(symbol: &'static str, dimension: Dimension, factor: f64) -> Unit {
    Unit {
        symbol,
        dimension,
        factor,
        offset: 0.0,
    }
}

const UNITS: &[Unit] = &[
    unit("V", Dimension::Volt, 1.0),
    unit("mV", Dimension::Volt, 1e-3),
    unit("A", Dimension::Ampere, 1.0),
    unit("mA", Dimension::Ampere, 1e-3),
    unit("kA", Dimension::Ampere, 1e3),
    unit("S", Dimension::Siemens, 1.0),
    unit("mS", Dimension::Siemens, 1e-3),
    unit("kS", Dimension::Siemens, 1e3),
    unit("mOhm", Dimension::Milliohm, 1.0),
    unit("uOhm", Dimension::Milliohm, 1e-3),
    unit("Ohm", Dimension::Milliohm, 1e3),
    unit("degC", Dimension::Celsius, 1.0),
    Unit {
        symbol: "degF",
        dimension: Dimension::Celsius,
        factor: 1.0 / 1.8,
        offset: -32.0 / 1.8,
    },
    Unit {
        symbol: "K",
        dimension: Dimension::Celsius,
        factor: 1.0,
        offset: -273.15,
    },
    unit("km", Dimension::Kilometre, 1.0),
    unit("m", Dimension::Kilometre, 1e-3),
    unit("mi", Dimension::Kilometre, 1.609_344),
    unit("s", Dimension::Second, 1.0),
    unit("ms", Dimension::Second, 1e-3),
    unit("min", Dimension::Second, 60.0),
    unit("h", Dimension::Second, 3600.0),
    unit("h", Dimension::Hour, 1.0),
    unit("min", Dimension::Hour, 1.0 / 60.0),
    unit("s", Dimension::Hour, 1.0 / 3600.0),
];

/// Other ways to write a unit. Case counts: mS is not MS.
const SPELLINGS: &[(&str, &str)] = &[
    ("volt", "V"),
    ("volts", "V"),
    ("v", "V"),
    ("amp", "A"),
    ("amps", "A"),
    ("a", "A"),
    ("mho", "S"),
    ("siemens", "S"),
    ("mohm", "mOhm"),
    ("mΩ", "mOhm"),
    ("mΩ", "mOhm"),
    ("µΩ", "uOhm"),
    ("µOhm", "uOhm"),
    ("uohm", "uOhm"),
    ("ohm", "Ohm"),
    ("Ω", "Ohm"),
    ("Ω", "Ohm"),
    ("C", "degC"),
    ("°C", "degC"),
    ("℃", "degC"),
    ("F", "degF"),
    ("°F", "degF"),
    ("℉", "degF"),
    ("miles", "mi"),
    ("mile", "mi"),
    ("sec", "s"),
    ("minutes", "min"),
    ("hours", "h"),
    ("hrs", "h"),
    ("hr", "h"),
];

impl Unit {
    /// The unit of that name, as one that measures `dimension`.
    pub fn find(name: &str, dimension: Dimension) -> Option<Unit> {
        let name = name.trim();
        let symbol = SPELLINGS
            .iter()
            .find(|(spelling, _)| *spelling == name)
            .map_or(name, |(_, symbol)| symbol);
        UNITS
            .iter()
            .find(|unit| unit.dimension == dimension && unit.symbol == symbol)
            .copied()
    }

    /// Whether any dimension has a unit of that name.
    pub fn exists(name: &str) -> bool {
        let name = name.trim();
        UNITS.iter().any(|unit| unit.symbol == name)
            || SPELLINGS.iter().any(|(spelling, _)| *spelling == name)
    }

    /// The names of the units that measure `dimension`.
    pub fn names(dimension: Dimension) -> String {
        let names: Vec<&str> = UNITS
            .iter()
            .filter(|unit| unit.dimension == dimension)
            .map(|unit| unit.symbol)
            .collect();
        names.join(", ")
    }

    /// The value in the lake's unit.
    pub fn convert(self, value: f64) -> f64 {
        value * self.factor + self.offset
    }
}
