//! The three vehicle registers and the two weather exports.

use super::Form::{Number, Text, Time, Whole};
use super::{Column, Dialect, PLAIN, Unit, column};

const NORTH: &[Column] = &[
    column("Stand", "seen_on", Time("%d.%m.%Y")),
    column("Fahrgestellnummer", "vin", Text),
    column("Interne Nr", "unit_no", Text),
    column("Standort", "depot", Text),
    column("Hersteller", "make", Text),
    column("Typ", "model", Text),
    column("Modelljahr", "model_year", Whole),
    column("Antrieb", "powertrain", Text),
    column("Erstzulassung", "in_service_date", Time("%d.%m.%Y")),
    column("Zugang", "joined_fleet_date", Time("%d.%m.%Y")),
    column("km-Stand", "odometer_km", Number(Unit::Own("km"), 0)),
    column("Batteriegröße", "battery_group", Text),
    column("Bauart", "chemistry", Text),
    column("Kaltstart A", "rating_value", Number(Unit::Own("A"), 0)),
    column("Norm", "rating_standard", Text),
    column("Batterie seit", "battery_installed_on", Time("%d.%m.%Y")),
    column("Abgang", "left_fleet_date", Time("%d.%m.%Y")),
];

const SOUTH: &[Column] = &[
    column("Unit", "unit_no", Text),
    column("VIN", "vin", Text),
    column("Yard", "depot", Text),
    column("As Of", "seen_on", Time("%m/%d/%Y")),
    column("Make", "make", Text),
    column("Model", "model", Text),
    column("MY", "model_year", Whole),
    column("Drive", "powertrain", Text),
    column("In Service", "in_service_date", Time("%m/%d/%Y")),
    column("Bought Used On", "joined_fleet_date", Time("%m/%d/%Y")),
    column("Odometer (mi)", "odometer_km", Number(Unit::Miles, 0)),
    column("Batt Group", "battery_group", Text),
    column("Batt Type", "chemistry", Text),
    column("Batt Amps", "rating_value", Number(Unit::Own("A"), 0)),
    column("Amps Std", "rating_standard", Text),
    column("Batt In", "battery_installed_on", Time("%m/%d/%Y")),
    column("Gone", "left_fleet_date", Time("%m/%d/%Y")),
];

/// The heavy register keeps no day of the battery.
const HEAVY: &[Column] = &[
    column("export_date", "seen_on", Time("%Y-%m-%d")),
    column("serial_vin", "vin", Text),
    column("truck", "unit_no", Text),
    column("home", "depot", Text),
    column("builder", "make", Text),
    column("series", "model", Text),
    column("year", "model_year", Whole),
    column("drive", "powertrain", Text),
    column("on_road", "in_service_date", Time("%Y-%m-%d")),
    column("taken_over", "joined_fleet_date", Time("%Y-%m-%d")),
    column("hub_miles", "odometer_km", Number(Unit::Miles, 0)),
    column("bci_group", "battery_group", Text),
    column("battery_kind", "chemistry", Text),
    column("cold_amps", "rating_value", Number(Unit::Own("A"), 0)),
    column("disposed", "left_fleet_date", Time("%Y-%m-%d")),
];

/// Every register.
pub const REGISTERS: [Dialect; 3] = [
    Dialect {
        kind: "vehicle",
        name: "northern depots' register",
        folder: "register",
        file: "north",
        delimiter: b';',
        decimal_mark: ',',
        thousands_mark: Some('.'),
        windows_1252: true,
        columns: NORTH,
        words: &[
            (
                "powertrain",
                &[
                    ("Verbrenner", "combustion"),
                    ("Hybrid", "hybrid"),
                    ("Plug-in", "plug-in hybrid"),
                    ("Batterie", "battery electric"),
                ],
            ),
            (
                "chemistry",
                &[("Nass", "flooded"), ("EFB", "EFB"), ("Vlies", "AGM")],
            ),
        ],
        ..PLAIN
    },
    Dialect {
        kind: "vehicle",
        name: "southern yards' register",
        folder: "register",
        file: "south",
        columns: SOUTH,
        words: &[
            (
                "powertrain",
                &[
                    ("ICE", "combustion"),
                    ("HEV", "hybrid"),
                    ("PHEV", "plug-in hybrid"),
                    ("BEV", "battery electric"),
                ],
            ),
            (
                "chemistry",
                &[("Wet", "flooded"), ("EFB", "EFB"), ("AGM", "AGM")],
            ),
        ],
        ..PLAIN
    },
    Dialect {
        kind: "vehicle",
        name: "heavy vehicles' register",
        folder: "register",
        file: "heavy",
        constants: &[("rating_standard", "SAE")],
        columns: HEAVY,
        words: &[
            (
                "powertrain",
                &[("diesel", "combustion"), ("fc", "fuel cell")],
            ),
            ("chemistry", &[("lead", "flooded"), ("lfp", "lithium")]),
        ],
        ..PLAIN
    },
];

/// Weather in degrees Celsius.
pub const WEATHER_METRIC: Dialect = Dialect {
    kind: "depot_weather",
    name: "weather, Celsius",
    folder: "weather",
    file: "",
    columns: &[
        column("place", "depot", Text),
        column("date", "day", Time("%Y-%m-%d")),
        column(
            "t_mean_c",
            "mean_temperature_c",
            Number(Unit::Own("degC"), 1),
        ),
        column("t_max_c", "max_temperature_c", Number(Unit::Own("degC"), 1)),
    ],
    ..PLAIN
};

/// Weather in degrees Fahrenheit.
pub const WEATHER_US: Dialect = Dialect {
    kind: "depot_weather",
    name: "weather, Fahrenheit",
    folder: "weather",
    file: "",
    columns: &[
        column("Yard", "depot", Text),
        column("Day", "day", Time("%m/%d/%Y")),
        column("Hi F", "max_temperature_c", Number(Unit::DegF, 1)),
        column("Avg F", "mean_temperature_c", Number(Unit::DegF, 1)),
    ],
    ..PLAIN
};
