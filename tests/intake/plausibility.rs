//! What no real row says, and the reasons given.

use super::reading::{Folder, Outcome, vin};

fn one(header: &str, row: &str) -> Outcome {
    Folder::new().read("dump.csv", format!("{header}\n{row}\n"))
}

fn test_reason(columns: &str, cells: &str) -> String {
    let outcome = one(
        &format!("vin,tested_at,{columns}"),
        &format!("{},2026-05-01,{cells}", vin(1)),
    );
    let row = &outcome.quarantined;
    assert_eq!(row.len(), 1, "{columns} {cells} was taken");
    format!("{} | {}", row[0].field.unwrap_or_default(), row[0].reason)
}

/// Ranges and hints: common practice, no source.
#[test]
fn values_outside_their_range_are_told_with_the_likely_slip() {
    let cases: &[(&str, &str, &str)] = &[
        (
            "rest_voltage_v",
            "126",
            "rest_voltage_v | rest voltage is outside -1 to 18 V for a 12 V battery: 126 V; with a decimal mark it would be 12.6 V",
        ),
        (
            "rest_voltage_v",
            "12600",
            "rest_voltage_v | rest voltage is outside -1 to 18 V for a 12 V battery: 12600 V; in mV it would be 12.6 V",
        ),
        (
            "rest_voltage_v",
            "-3",
            "rest_voltage_v | rest voltage is outside -1 to 18 V for a 12 V battery: -3 V",
        ),
        (
            "rest_voltage_v,temperature_c",
            "12.6,158",
            "temperature_c | battery temperature is outside -50 to 90 degC for a battery: 158 degC; in degF it would be 70 degC",
        ),
        (
            "rest_voltage_v,rated_value",
            "12.6,12",
            "rated_value | cold cranking rating is outside 50 to 3000 A for a 12 V battery: 12 A",
        ),
        (
            "measured_value,measured_kind",
            "9000,CCA EN",
            "measured_value | cranking current is outside 0 to 3000 A for a 12 V battery: 9000 A",
        ),
        (
            "measured_value,measured_kind",
            "0,resistance mOhm",
            "measured_value | internal resistance is outside 0.1 to 10000 mOhm for a 12 V battery: 0 mOhm",
        ),
        (
            "rest_voltage_v,load_seconds",
            "12.6,7200",
            "load_seconds | time under load is outside 0 to 600 s for a load test: 7200 s",
        ),
        (
            "rest_voltage_v",
            "",
            "measured_value | a test without a result: neither rest voltage, nor a reading, nor the tester's verdict",
        ),
    ];
    for (columns, cells, expected) in cases {
        assert_eq!(test_reason(columns, cells), *expected);
    }
}

#[test]
fn values_at_the_edge_are_taken() {
    for (column, cell) in [
        ("rest_voltage_v", "-1"),
        ("rest_voltage_v", "18"),
        ("rest_voltage_v", "0.3"),
        ("temperature_c", "-50"),
    ] {
        let outcome = one(
            &format!("vin,tested_at,source_verdict,{column}"),
            &format!("{},2026-05-01,ok,{cell}", vin(1)),
        );
        assert_eq!(outcome.count("battery_test"), 1, "{column} {cell}");
    }
}

#[test]
fn impossible_vins_are_told_by_what_is_wrong() {
    let cases = [
        (
            "7ZV4C1A0",
            "not a VIN: VIN '7ZV4C1A0' has 8 characters, not 17",
        ),
        (
            "7ZV4C1A00SO000001",
            "not a VIN: VIN '7ZV4C1A00SO000001' has 'O' at position 11",
        ),
        (
            "AAAAAAAAAAAAAAAAA",
            "not a VIN: VIN 'AAAAAAAAAAAAAAAAA' is one character seventeen times",
        ),
        ("", "vin is missing: vehicle identification number"),
    ];
    for (text, expected) in cases {
        let outcome = one(
            "vin,tested_at,rest_voltage_v",
            &format!("{text},2026-05-01,12.5"),
        );
        assert!(
            outcome.reason().starts_with(expected),
            "{:?}",
            outcome.reasons()
        );
        assert_eq!(outcome.quarantined[0].field, Some("vin"));
    }
}

/// The clock of these tests stands at 2026-06-28.
#[test]
fn what_is_still_to_come_is_quarantined() {
    let outcome = one(
        "vin,tested_at,rest_voltage_v",
        &format!("{},2026-06-30 08:00,12.5", vin(1)),
    );
    assert_eq!(outcome.reason(), "tested_at is in the future: 2026-06-30");
    let outcome = one(
        "vin,tested_at,rest_voltage_v",
        &format!("{},1926-05-01,12.5", vin(1)),
    );
    assert_eq!(outcome.reason(), "tested_at is before 1980: 1926-05-01");
    // A day's grace, for clocks and zones.
    let outcome = one(
        "vin,tested_at,rest_voltage_v",
        &format!("{},2026-06-29 08:00,12.5", vin(1)),
    );
    assert_eq!(outcome.count("battery_test"), 1);
    let planned = one(
        "vin,seen_on,depot,in_service_date,left_fleet_date",
        &format!("{},2026-06-01,Moor,2020-01-01,2027-05-01", vin(1)),
    );
    assert_eq!(planned.count("vehicle"), 1);
}

#[test]
fn ends_before_beginnings_are_quarantined() {
    let outcome = one(
        "vin,seen_on,depot,in_service_date,left_fleet_date",
        &format!("{},2026-06-01,Moor,2020-01-01,2019-05-01", vin(1)),
    );
    assert_eq!(
        outcome.reason(),
        "left the fleet before it was in service: 2020-01-01 and 2019-05-01"
    );
    let outcome = one(
        "order_no,vin,opened_at,closed_at,operation",
        &format!("1,{},2026-05-02,2026-05-01,tow", vin(1)),
    );
    assert_eq!(
        outcome.reason(),
        "closed before it was opened: 2026-05-02 00:00 UTC and 2026-05-01 00:00 UTC"
    );
    let outcome = one(
        "scan_id,vin,scanned_at,modules_asked,modules_answered",
        &format!("1,{},2026-05-02,20,21", vin(1)),
    );
    assert_eq!(
        outcome.reason(),
        "more modules answered than were asked: 21 and 20"
    );
    let outcome = one(
        "depot,day,mean_temperature_c,max_temperature_c",
        "Moor,2026-05-02,20,12",
    );
    assert_eq!(
        outcome.reason(),
        "mean temperature above the highest: 20 and 12"
    );
}

#[test]
fn swapped_columns_are_seen() {
    let cases = [
        ("vin,tested_at,unit_x,rest_voltage_v,temperature_c", format!("{},2026-05-01,u,71.6,12.6", vin(1)), "rest_voltage_v",
         "two columns look swapped: \"rest_voltage_v\" has \"71.6\" and \"temperature_c\" has \"12.6\"".to_owned()),
        ("vin,tested_at,technician,rest_voltage_v", format!("JK,2026-05-01,{},12.6", vin(1)), "vin",
         format!("two columns look swapped: \"vin\" has \"JK\" and \"technician\" has \"{}\"", vin(1))),
        ("vin,tested_at,rest_voltage_v,rated_value", format!("{},2026-05-01,640,12.6", vin(1)), "rest_voltage_v",
         "two columns look swapped: \"rest_voltage_v\" has \"640\" and \"rated_value\" has \"12.6\"".to_owned()),
    ];
    for (header, row, field, expected) in cases {
        let outcome = one(header, &row);
        assert_eq!(outcome.reason(), expected);
        assert_eq!(outcome.quarantined[0].field, Some(field));
    }
}

#[test]
fn further_fields_at_fault_are_named() {
    let reason = test_reason("rest_voltage_v,chemistry,rated_value", "abc,cheese,12");
    assert_eq!(
        reason,
        "rest_voltage_v | rest voltage is not a number: \"abc\"; also at fault: rated_value, chemistry"
    );
}

#[test]
fn battery_work_says_which_battery_or_leaves_it_open() {
    let text = "order_no,vin,opened_at,operation,position\n";
    let row = |operation: &str, position: &str| {
        format!("1,{},2026-05-01,{operation},{position}\n", vin(1))
    };
    let text = text.to_owned()
        + &row("battery replaced", "")
        + &row("Battery Replaced", "AUX")
        + &row("tow", "");
    let outcome = Folder::new().read("orders.csv", text);
    let expected = [None, Some("auxiliary"), None].map(|word| word.map(str::to_owned));
    assert_eq!(outcome.texts("work_order", "position"), expected);
}

#[test]
fn quarantine_keeps_file_line_text_and_shop() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\nshop = 'Corlund'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\n",
    );
    let outcome = folder.read("t.csv", format!("V,T\n{},yesterday\n", vin(1)));
    let row = &outcome.quarantined[0];
    assert!(row.file.ends_with("/t.csv"));
    assert_eq!(
        (row.line, row.raw_text.as_str()),
        (2, format!("{},yesterday", vin(1)).as_str())
    );
    assert_eq!(
        (row.dump_kind, row.shop.as_deref()),
        ("battery_test", Some("Corlund"))
    );
    assert_eq!(*row.file_hash, *outcome.summary().file_hash);
    assert_eq!(row.file_hash.len(), 64);
}

#[test]
fn a_wrong_check_digit_is_a_remark() {
    let good = vin(1);
    let digit = if &good[8..9] == "0" { "1" } else { "0" };
    let misread = format!("{}{digit}{}", &good[..8], &good[9..]);
    let outcome = one(
        "vin,tested_at,rest_voltage_v",
        &format!("{misread},2026-05-01,12.5"),
    );
    assert_eq!(outcome.count("battery_test"), 1);
    let remarks = &outcome.summary().parts[0].remarks;
    assert_eq!(
        *remarks,
        ["rows whose VIN has a wrong check digit, most likely misread: 1"]
    );
}

/// Week numbers are those of ISO 8601: week 7 of 2024 begins on 2024-02-12.
#[test]
fn a_battery_tested_before_it_was_made_is_quarantined() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\ndate_code_pattern = '^(?<year>\\d{4})W(?<week>\\d\\d)$'\n[columns.V]\nfield = 'vin'\n\
         [columns.T]\nfield = 'tested_at'\n[columns.R]\nfield = 'rest_voltage_v'\n[columns.C]\nfield = 'date_code'\n",
    );
    let row = |code: &str| format!("{},2025-05-01,12.5,{code}\n", vin(1));
    let outcome = folder.read(
        "t.csv",
        format!("V,T,R,C\n{}{}{}", row("2024W07"), row("2026W07"), row("B9")),
    );
    assert_eq!(
        outcome.texts("battery_test", "date_code"),
        [Some("B4".to_owned()), Some("B9".to_owned())]
    );
    assert!(
        outcome.reason().starts_with("tested before it was made: "),
        "{}",
        outcome.reason()
    );
}
