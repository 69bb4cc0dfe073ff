//! Free text, read by patterns the user writes.

use std::path::Path;

use voltwane::intake::Mappings;

use super::reading::{Folder, vin};

const MAPPING: &str = r#"
kind = "code_scan"
name = "Printed scans"
shop = "Corlund"

[report]
starts = '^SCAN OF (?<vin>\S+)'
lines = ['^made on (?<when>.+)$', 'total distance (?<distance>[\d.,]+) miles', 'supply (?<supply_voltage_v>[\d.]+ V)']
row = '^\s+(?<module_address>\S+)\s+(?<code>[PCBU][0-9A-F]{4})\b(?:.*\b(?<state>pending))?'

[columns.when]
field = "scanned_at"
format = "%d %b %Y, %H:%M"

[columns.distance]
field = "odometer_km"
unit = "mi"

[columns.state]
field = "pending"

[words.pending]
"pending" = "yes"
"#;

fn text() -> String {
    format!(
        "Printed by hand\n\nSCAN OF {}\nmade on 01 May 2026, 10:00\n  7E8  P0562  low, pending\n  7E9  U0100  silent\n\
         total distance 100 miles\nsupply 9.5 V\n\nSCAN OF {}\nmade on 02 May 2026, 11:00\nno faults were found\n",
        vin(1),
        vin(2)
    )
}

#[test]
fn a_printed_report_is_read_by_its_patterns() {
    let outcome = Folder::with_mapping(MAPPING).read("report.txt", text());
    assert_eq!(
        outcome.texts("trouble_code", "code"),
        [Some("P0562".to_owned()), Some("U0100".to_owned())]
    );
    assert_eq!(outcome.flags("trouble_code", "pending"), [Some(true), None]);
    assert_eq!(outcome.lines["trouble_code"], [5, 6]);
    let scans = outcome.texts("code_scan", "vin");
    assert_eq!(scans.len(), 2);
    let first = scans
        .iter()
        .position(|found| *found == Some(vin(1)))
        .unwrap();
    // What stands below the codes counts for them, too. 100 miles are 160.9344 km.
    assert_eq!(
        outcome.numbers("code_scan", "odometer_km")[first],
        Some(160.9344)
    );
    assert_eq!(
        outcome.numbers("code_scan", "supply_voltage_v")[first],
        Some(9.5)
    );
    assert_eq!(
        outcome.instants("code_scan", "scanned_at")[first].as_deref(),
        Some("2026-05-01T10:00:00Z")
    );
    assert_eq!(outcome.lines["code_scan"], [10]);
    assert_eq!(outcome.summary().mapping_name(), "Printed scans");
}

#[test]
fn a_scan_whose_values_cannot_be_read_is_quarantined() {
    let outcome =
        Folder::with_mapping(MAPPING).read("report.txt", text().replace("02 May 2026", "tomorrow"));
    assert_eq!(outcome.quarantined.len(), 1);
    assert_eq!(outcome.quarantined[0].line, 10);
    assert!(
        outcome
            .reason()
            .starts_with("not a date and time: \"tomorrow, 11:00\""),
        "{}",
        outcome.reason()
    );
}

#[test]
fn other_text_is_no_report() {
    let error = Folder::with_mapping(MAPPING).error("letter.txt", "Dear planner,\nall is well.\n");
    assert!(error.contains("not recognised by its header"), "{error}");
}

#[test]
fn mistakes_in_patterns_are_told() {
    let error = |report: &str| {
        let toml = format!("kind = 'code_scan'\n[report]\n{report}\n");
        Mappings::builtin()
            .add_toml(Path::new("m.toml"), &toml)
            .expect_err("refused")
            .to_string()
    };
    let cases = [
        ("row = '(?<vin'", "m.toml, line 3, `report.row`: "),
        (
            "row = 'plain'",
            "`report`: has no pattern with a named group; name groups like the fields",
        ),
        (
            "row = '(?<vinn>x)'",
            "`report, group vinn`: code_scan has no field \"vinn\"; did you mean vin?",
        ),
        (
            "rows = 'x'",
            "`report.rows`: is not known; did you mean `row`?",
        ),
        ("row = '(?<vin>x)'", "no column gives scanned_at"),
    ];
    for (report, expected) in cases {
        let error = error(report);
        assert!(
            error.contains(expected),
            "{report}\n  gave {error}\n  not  {expected}"
        );
    }
}
