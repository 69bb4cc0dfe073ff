//! The six shops' exports of battery tests.

use super::Form::{Flag, Number, Reading, Text, Time};
use super::shop_style::*;
use super::{Dialect, Unit, column, idle};

/// Battery tests, by shop.
pub const TESTS: [Dialect; 6] = [
    Dialect {
        kind: "battery_test",
        name: "Corlund bench tests",
        folder: "tests",
        file: "corlund",
        constants: &[("position", "main")],
        columns: &[
            column("Chassis", "vin", Text),
            column("Date", "tested_at", Time("%m/%d/%Y")),
            column("Time", "tested_at", Time("%I:%M %p")),
            column("Rest V", "rest_voltage_v", Number(VOLT, 2)),
            column("Surf Chg Off", "surface_charge_removed", Flag("Y", "N")),
            column("Batt Temp (F)", "temperature_c", Number(Unit::DegF, 0)),
            column("Cond", "measured_value", Reading("S", 0, "conductance S")),
            column("Rated", "rated_value", Number(AMPERE, 0)),
            column("Rated By", "rated_standard", Text),
            column("Type", "chemistry", Text),
            column("Stamp", "date_code", Text),
            column("Says", "source_verdict", Text),
            column("By", "technician", Text),
            idle("Bay", "2"),
        ],
        words: &[(
            "chemistry",
            &[("Wet", "flooded"), ("Wet+", "EFB"), ("Mat", "AGM")],
        )],
        ..CORLUND
    },
    Dialect {
        kind: "battery_test",
        name: "Mervane Batterieprüfung",
        folder: "tests",
        file: "mervane",
        windows_1252: true,
        columns: &[
            column("Prüfzeit", "tested_at", Time("%d.%m.%Y %H:%M")),
            column("Fahrgestell", "vin", Text),
            column("Einbauplatz", "position", Text),
            column("Ruhespannung V", "rest_voltage_v", Number(VOLT, 2)),
            column(
                "Oberflächenladung weg",
                "surface_charge_removed",
                Flag("ja", "nein"),
            ),
            column(
                "Temperatur °C",
                "temperature_c",
                Number(Unit::Own("degC"), 1),
            ),
            column(
                "Kaltstart EN gemessen",
                "measured_value",
                Reading("A", 0, "CCA EN"),
            ),
            column("Nennwert", "rated_value", Number(AMPERE, 0)),
            column("Nennwert nach", "rated_standard", Text),
            column("Bauart", "chemistry", Text),
            column("Prägung", "date_code", Text),
            column("Urteil", "source_verdict", Text),
            column("Prüfer", "technician", Text),
        ],
        words: &[
            ("chemistry", CHEMISTRY_GERMAN),
            ("position", &[("Haupt", "main"), ("Zusatz", "auxiliary")]),
        ],
        ..MERVANE
    },
    Dialect {
        kind: "battery_test",
        name: "Tolbrax battery log",
        folder: "tests",
        file: "tolbrax",
        columns: &[
            column("timestamp", "tested_at", Time("%Y-%m-%dT%H:%M:%SZ")),
            column("vehicle", "vin", Text),
            column("slot", "position", Text),
            column(
                "ocv_mV",
                "rest_voltage_v",
                Number(Unit::Finer("mV", 1000.0), 0),
            ),
            column("surface_removed", "surface_charge_removed", Flag("1", "0")),
            column("temp", "temperature_c", Number(Unit::Own("degC"), 1)),
            column(
                "r_internal",
                "measured_value",
                Reading("mOhm", 2, "resistance mOhm"),
            ),
            column("label_amps", "rated_value", Number(AMPERE, 0)),
            column("label_std", "rated_standard", Text),
            column("construction", "chemistry", Text),
            column("date_mark", "date_code", Text),
            column("grade", "source_verdict", Text),
            column("tech", "technician", Text),
        ],
        words: &[("position", &[("B0", "main"), ("B1", "auxiliary")])],
        ..TOLBRAX
    },
    Dialect {
        kind: "battery_test",
        name: "Oxhelm load tests",
        folder: "tests",
        file: "oxhelm",
        columns: &[
            column("Veh ID No", "vin", Text),
            column("When", "tested_at", Time("%d/%m/%Y %H.%M")),
            column("Stood At V", "rest_voltage_v", Number(VOLT, 2)),
            column("Skimmed", "surface_charge_removed", Flag("yes", "no")),
            column("Case Temp F", "temperature_c", Number(Unit::DegF, 0)),
            column("Loaded V", "measured_value", Reading("V", 2, "load test V")),
            column("Load A", "load_current_a", Number(AMPERE, 0)),
            column("Load s", "load_seconds", Number(Unit::Own("s"), 0)),
            column("Label A", "rated_value", Number(AMPERE, 0)),
            column("Label Std", "rated_standard", Text),
            column("Make-up", "chemistry", Text),
            column("Born", "date_code", Text),
            column("Result Note", "source_verdict", Text),
            column("Hand", "technician", Text),
        ],
        words: &[(
            "chemistry",
            &[("wet cell", "flooded"), ("efb", "EFB"), ("agm", "AGM")],
        )],
        ..OXHELM
    },
    Dialect {
        kind: "battery_test",
        name: "Yarrowby tests",
        folder: "tests",
        file: "yarrowby",
        columns: &[
            column("Workshop", "shop", Text),
            column("Frame No", "vin", Text),
            column("Test On", "tested_at", Time("%d-%b-%Y %H:%M")),
            column("Battery", "position", Text),
            column("OCV", "rest_voltage_v", Number(VOLT, 2)),
            column("Deg C", "temperature_c", Number(Unit::Own("degC"), 0)),
            column("Reading", "measured_value", Number(Unit::None, 0)),
            column("Reading Is", "measured_kind", Text),
            column("Rating", "rated_value", Number(AMPERE, 0)),
            column("Rating Is", "rated_standard", Text),
            column("Cell Type", "chemistry", Text),
            column("Code Stamped", "date_code", Text),
            column("Remark", "source_verdict", Text),
            column("Staff", "technician", Text),
        ],
        words: &[
            ("position", PLACE_NUMBERS),
            ("measured_kind", &[("cold amps J", "CCA JIS")]),
        ],
        ..YARROWBY
    },
    Dialect {
        kind: "battery_test",
        name: "Draywright truck batteries",
        folder: "tests",
        file: "draywright",
        columns: &[
            column("TRUCK_VIN", "vin", Text),
            column("TESTED", "tested_at", Time("%Y%m%d %H%M")),
            column("OCV_V", "rest_voltage_v", Number(VOLT, 2)),
            column("SURF", "surface_charge_removed", Flag("T", "F")),
            column("TEMP_F", "temperature_c", Number(Unit::DegF, 0)),
            column("COLD_AMPS", "measured_value", Reading("A", 0, "CCA SAE")),
            column("LABEL_AMPS", "rated_value", Number(AMPERE, 0)),
            column("KIND", "chemistry", Text),
            column("MADE", "date_code", Text),
            column("FINDING", "source_verdict", Text),
            column("MECH", "technician", Text),
        ],
        constants: &[("position", "main"), ("rated_standard", "SAE")],
        words: &[("chemistry", &[("LEAD", "flooded"), ("LFP", "lithium")])],
        ..DRAYWRIGHT
    },
];
