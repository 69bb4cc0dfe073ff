//! The raw tables of the lake: one list that the loader writes by, the session reads by and the
//! reference in DEVELOPERS.md is checked against.
//!
//! Raw facts are appended and never edited. Instants are UTC microseconds, numbers are in the unit
//! their name ends with, words are the lower-case words listed in [`trade`].

use super::design::{may, must};

pub use super::design::{
    CORRECTS, Column, EVENT_YEAR, FROM_FILE, FROM_LINE, KEPT_BESIDE, KEY_HASH, Kind, KnownFrom,
    LOAD_ID, ROW_HASH, Table,
};
use Kind::{Day, Flag, Instant, Integer, Number, Text};

/// The table that says what each load brought; its commit is a load's last.
pub const LOAD_LOG: &str = "load_log";

/// The table of that name.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.name == name)
}

/// Every raw table.
pub const TABLES: &[Table] = &[
    Table {
        name: "vehicle",
        row_is: "a vehicle as the register showed it on a day",
        columns: &[
            must("vin", Text, "vehicle identification number, 17 characters"),
            must("seen_on", Day, "the day the register was exported"),
            may("unit_no", Text, "the fleet's own number for the vehicle"),
            must("depot", Text, "where the vehicle is kept"),
            may("make", Text, "make"),
            may("model", Text, "model"),
            may("model_year", Integer, "model year"),
            may(
                "powertrain",
                Text,
                "combustion, hybrid, plug-in hybrid, battery electric, fuel cell",
            ),
            must("in_service_date", Day, "first day on the road"),
            may(
                "joined_fleet_date",
                Day,
                "first day in this fleet, where it came used",
            ),
            may("odometer_km", Number, "odometer on that day"),
            may("battery_group", Text, "size group of the 12 V battery"),
            may("chemistry", Text, "flooded, EFB, AGM, gel, lithium"),
            may(
                "rating_value",
                Number,
                "cold cranking rating the vehicle asks for, A",
            ),
            may("rating_standard", Text, "SAE, EN, IEC, DIN, JIS, CA"),
            may(
                "battery_installed_on",
                Day,
                "day the present main battery went in, if the register keeps it",
            ),
            may("left_fleet_date", Day, "day the vehicle left the fleet"),
        ],
        key: &["vin", "seen_on"],
        since: 1,
        known_from: KnownFrom::Event("seen_on"),
        event_time: None,
        sorted_by: &["vin", "seen_on"],
    },
    Table {
        name: "battery_test",
        row_is: "one test of one battery",
        columns: &[
            must("vin", Text, "vehicle identification number"),
            must(
                "position",
                Text,
                "which battery: main, or a further one such as auxiliary",
            ),
            must("tested_at", Instant, "when the test was made"),
            may("rest_voltage_v", Number, "voltage at rest, V"),
            may(
                "surface_charge_removed",
                Flag,
                "whether surface charge was removed first",
            ),
            may(
                "temperature_c",
                Number,
                "battery temperature, degrees Celsius",
            ),
            may(
                "measured_value",
                Number,
                "the reading, in the unit its kind names",
            ),
            may(
                "measured_kind",
                Text,
                "CCA SAE, CCA EN, CCA IEC, CCA DIN, CCA JIS, CA, conductance S, resistance mOhm, load test V",
            ),
            may("load_current_a", Number, "load test: current, A"),
            may("load_seconds", Number, "load test: seconds under load"),
            may(
                "rated_value",
                Number,
                "cold cranking rating on the label, A",
            ),
            may("rated_standard", Text, "SAE, EN, IEC, DIN, JIS, CA"),
            may("chemistry", Text, "flooded, EFB, AGM, gel, lithium"),
            may("date_code", Text, "date code on the battery, as read"),
            may("source_verdict", Text, "what the tester said, as text"),
            may("shop", Text, "who tested"),
            may("technician", Text, "initials or number"),
            may("local_day", Day, "the day of the test where it was made")
                .local_day_of("tested_at")
                .since(2),
            may("part_no", Text, "part number on the label").since(2),
            may("lot", Text, "production lot on the label").since(2),
            may(
                "temperature_compensated",
                Flag,
                "whether the reading allows for the temperature already",
            )
            .since(3),
        ],
        key: &["vin", "position", "tested_at"],
        since: 1,
        known_from: KnownFrom::Event("tested_at"),
        event_time: Some("tested_at"),
        sorted_by: &["vin", "tested_at"],
    },
    Table {
        name: "code_scan",
        row_is: "one scan of one vehicle",
        columns: &[
            must("scan_id", Text, "the scan's own number at its shop"),
            must("vin", Text, "vehicle identification number"),
            must("scanned_at", Instant, "when the scan was made"),
            may("odometer_km", Number, "odometer at the scan"),
            may("modules_asked", Integer, "modules the tool asked"),
            may("modules_answered", Integer, "modules that answered"),
            may("supply_voltage_v", Number, "12 V supply during the scan, V"),
            may("monitors_ready", Integer, "readiness monitors complete"),
            may(
                "monitors_supported",
                Integer,
                "readiness monitors the vehicle has",
            ),
            may(
                "warm_ups_since_clear",
                Integer,
                "warm-up cycles since codes were cleared",
            ),
            may(
                "km_since_clear",
                Number,
                "distance since codes were cleared, km",
            ),
            may("shop", Text, "who scanned"),
            may("technician", Text, "initials or number"),
            may("local_day", Day, "the day of the scan where it was made")
                .local_day_of("scanned_at")
                .since(2),
        ],
        key: &["scan_id", "vin", "scanned_at"],
        since: 1,
        known_from: KnownFrom::Event("scanned_at"),
        event_time: Some("scanned_at"),
        sorted_by: &["vin", "scanned_at"],
    },
    Table {
        name: "trouble_code",
        row_is: "one code in one scan",
        columns: &[
            must("scan_id", Text, "the scan it came from"),
            must("vin", Text, "vehicle identification number"),
            must("scanned_at", Instant, "when the scan was made"),
            must(
                "module_address",
                Text,
                "address of the module that holds the code",
            ),
            must(
                "code",
                Text,
                "five-character code, or SPNn/FMIn for heavy vehicles",
            ),
            may(
                "failure_type",
                Integer,
                "failure type byte of a three-byte code",
            ),
            may("status_byte", Integer, "the eight status bits"),
            may("pending", Flag, "pending"),
            may("confirmed", Flag, "confirmed"),
            may("permanent", Flag, "permanent"),
            may("spn", Integer, "suspect parameter number"),
            may("fmi", Integer, "failure mode identifier"),
            may("occurrence_count", Integer, "occurrence count"),
        ],
        key: &["scan_id", "vin", "scanned_at", "module_address", "code"],
        since: 1,
        known_from: KnownFrom::Event("scanned_at"),
        event_time: Some("scanned_at"),
        sorted_by: &["vin", "scanned_at"],
    },
    Table {
        name: "work_order",
        row_is: "one operation on a work order",
        columns: &[
            must("order_no", Text, "the order's number at its shop"),
            must("vin", Text, "vehicle identification number"),
            must("opened_at", Instant, "when the order was opened"),
            may("closed_at", Instant, "when it was closed"),
            may("odometer_km", Number, "odometer at the order"),
            may("shop", Text, "who did the work"),
            may("technician", Text, "initials or number"),
            may(
                "complaint",
                Text,
                "what the driver or planner said, as text",
            ),
            may(
                "cause",
                Text,
                "what it was put down to: supply, charging, network, module, traction battery, other",
            ),
            must(
                "operation",
                Text,
                "battery replaced, battery charged, battery tested, codes cleared, protected clear, module replaced, module reprogrammed, no-start call, jump start, tow, other",
            ),
            may(
                "position",
                Text,
                "which battery, where the operation is about one",
            ),
            may(
                "module_address",
                Text,
                "which module, where the operation is about one",
            ),
            may(
                "parts_cost",
                Number,
                "cost of parts, in the fleet's currency",
            ),
            may("labour_hours", Number, "hours of labour"),
            may(
                "opened_local_day",
                Day,
                "the day it was opened, at the shop",
            )
            .local_day_of("opened_at")
            .since(2),
            may(
                "closed_local_day",
                Day,
                "the day it was closed, at the shop",
            )
            .local_day_of("closed_at")
            .since(2),
            may("part_no", Text, "part number of what was fitted").since(2),
            may("lot", Text, "production lot of what was fitted").since(2),
        ],
        key: &["order_no", "vin", "opened_at", "operation"],
        since: 1,
        known_from: KnownFrom::Event("opened_at"),
        event_time: Some("opened_at"),
        sorted_by: &["vin", "opened_at"],
    },
    Table {
        name: "depot_weather",
        row_is: "one depot, one day",
        columns: &[
            must("depot", Text, "the depot"),
            must("day", Day, "the day"),
            must(
                "mean_temperature_c",
                Number,
                "mean temperature, degrees Celsius",
            ),
            may(
                "max_temperature_c",
                Number,
                "highest temperature, degrees Celsius",
            ),
            may(
                "min_temperature_c",
                Number,
                "lowest temperature, degrees Celsius",
            )
            .since(2),
        ],
        key: &["depot", "day"],
        since: 1,
        known_from: KnownFrom::Event("day"),
        event_time: None,
        sorted_by: &["depot", "day"],
    },
    Table {
        name: "quarantine",
        row_is: "one row that could not be used, or the note that it came again mended",
        columns: &[
            must("file", Text, "source file"),
            must("line", Integer, "line in that file, the header is line 1"),
            must(
                "raw_text",
                Text,
                "the row as it stood, cut at 2,000 characters",
            ),
            may("field", Text, "the field at fault, where there is one"),
            must("reason", Text, "why, in words"),
            must("dump_kind", Text, "what kind of dump the file was"),
            may(
                "shop",
                Text,
                "the shop named by the mapping, where it names one",
            ),
            must("file_hash", Text, "SHA-256 of the file's bytes"),
            may(
                "row_loaded",
                Flag,
                "yes where only the cell of that field was left out",
            )
            .since(2),
            may(
                "header",
                Text,
                "what stands above the row in a file by which it can be loaded again",
            )
            .since(3)
            .beside(),
            may(
                "mended",
                Flag,
                "yes where the row came again and could be used",
            )
            .since(3),
        ],
        key: &[],
        since: 1,
        known_from: KnownFrom::Load,
        event_time: None,
        sorted_by: &["file", "line"],
    },
    Table {
        name: LOAD_LOG,
        row_is: "one file in one load, or together those of which the lake had everything",
        columns: &[
            must("loaded_at", Instant, "when the load ran"),
            must("file", Text, "file name as given"),
            must(
                "file_hash",
                Text,
                "SHA-256 of the file's bytes, empty for several files",
            ),
            must("dump_kind", Text, "what kind of dump it was"),
            must("rows_read", Integer, "rows read"),
            must("rows_added", Integer, "rows added"),
            must("rows_already_there", Integer, "rows the lake had"),
            must("rows_quarantined", Integer, "rows put into quarantine"),
            must("seconds", Number, "seconds it took"),
        ],
        key: &[],
        since: 1,
        known_from: KnownFrom::Load,
        event_time: None,
        sorted_by: &["file"],
    },
    Table {
        name: "risk_week",
        row_is: "one battery in one weekly run, as it was told",
        columns: &[
            must("week", Text, "ISO week, such as 2026-W07"),
            must("as_of", Day, "the day the run looked back from"),
            must("vin", Text, "vehicle identification number"),
            must("position", Text, "which battery"),
            must("chance", Number, "chance of failing within the horizon"),
            must("chance_lower", Number, "lower 95 % limit"),
            must("chance_upper", Number, "upper 95 % limit"),
            must("horizon_days", Integer, "the horizon"),
            must("rank", Integer, "1 is the highest chance"),
            must(
                "action",
                Text,
                "this week, a later week, next service, test first, leave",
            ),
            must("reasons", Text, "why, in words"),
            must("model_version", Text, "which model said so"),
            may(
                "run_id",
                Text,
                "the weekly run that said so; the newest of a week counts",
            )
            .since(2),
            may(
                "settings_hash",
                Text,
                "fingerprint of the settings it ran with",
            )
            .since(2),
        ],
        key: &[],
        since: 1,
        known_from: KnownFrom::Event("as_of"),
        event_time: None,
        sorted_by: &["week", "rank"],
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_came_later_is_never_required_and_keys_are() {
        for table in TABLES {
            let column = |name| table.columns.iter().find(|column| column.name == name);
            for later in table
                .columns
                .iter()
                .filter(|column| column.since > table.since)
            {
                assert!(!later.required, "{}.{}", table.name, later.name);
            }
            if let KnownFrom::Event(name) = table.known_from {
                let column = column(name).expect("it is a column of the table");
                assert!(matches!(column.kind, Kind::Day | Kind::Instant) && column.required);
            }
            for instant in table
                .columns
                .iter()
                .filter_map(|column| column.local_day_of)
            {
                assert_eq!(
                    column(instant).map(|column| column.kind),
                    Some(Kind::Instant)
                );
            }
        }
    }
}
