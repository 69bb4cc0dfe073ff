//! Scans and their codes: one line a code, each line counted once, each scan kept once.

use super::reading::{Folder, vin};

const HEADER: &str =
    "scan_id,vin,scanned_at,odometer_km,module_address,code,failure_type,status_byte,spn,fmi\n";

fn read(rows: &[String]) -> super::reading::Outcome {
    Folder::new().read("scans.csv", HEADER.to_owned() + &rows.concat())
}

fn row(scan: &str, tail: &str) -> String {
    format!("{scan},{},2026-05-01 10:00,1000,{tail}\n", vin(1))
}

#[test]
fn a_scan_goes_out_once_and_its_lines_are_counted_by_their_codes() {
    let outcome = read(&[
        row("s1", "7E8,P0562,,0x09,,"),
        row("s1", "7E9,U0100,135,0x28,,"),
        row("s2", ",,,,,"),
        row("s1", "7E8,P0300,,,,"),
    ]);
    let scans = outcome.texts("code_scan", "scan_id");
    assert_eq!(scans.len(), 2);
    assert!(scans.contains(&Some("s1".to_owned())) && scans.contains(&Some("s2".to_owned())));
    assert_eq!(outcome.lines["trouble_code"], [2, 3, 5]);
    assert_eq!(outcome.lines["code_scan"], [4]);
    let codes: Vec<Option<String>> = outcome.texts("trouble_code", "code");
    assert_eq!(
        codes,
        ["P0562", "U0100", "P0300"].map(|code| Some(code.to_owned()))
    );
}

/// ISO 14229-1 table D.1: bit 2 is pending, bit 3 is confirmed.
#[test]
fn the_status_byte_fills_in_its_flags() {
    let outcome = read(&[
        row("s", "1,P0562,,0x09,,"),
        row("s", "1,P0563,,0x04,,"),
        row("s", "1,P0564,,,,"),
    ]);
    assert_eq!(
        outcome.flags("trouble_code", "confirmed"),
        [Some(true), Some(false), None]
    );
    assert_eq!(
        outcome.flags("trouble_code", "pending"),
        [Some(false), Some(true), None]
    );
}

#[test]
fn codes_come_in_several_writings() {
    let outcome = read(&[
        row("s", "1,u0100-87,,,,"),
        row("s", "1,U010087,,,,"),
        row("s", "1,,,,168,18"),
        row("s", "1,SPN168/FMI18,,,,"),
        row("s", "1,P0562,22,,,"),
    ]);
    let expected = ["U0100", "U0100", "SPN168/FMI18", "SPN168/FMI18", "P0562"];
    assert_eq!(
        outcome.texts("trouble_code", "code"),
        expected.map(|code| Some(code.to_owned()))
    );
    let types = [Some(0x87), Some(0x87), None, None, Some(22)];
    assert_eq!(outcome.wholes("trouble_code", "failure_type"), types);
    let spn = [None, None, Some(168), Some(168), None];
    assert_eq!(outcome.wholes("trouble_code", "spn"), spn);
}

#[test]
fn codes_that_cannot_be_are_quarantined() {
    let outcome = read(&[
        row("s", "1,X0100,,,,"),
        row("s", "1,,,,168,"),
        row("s", "1,U0100-87,22,,,"),
        row("s", ",P0562,,,,"),
        row("s", "1,SPN168/FMI18,,,168,4"),
        row("s", "1,P0562,,,168,4"),
    ]);
    let reasons: Vec<&str> = outcome
        .reasons()
        .iter()
        .map(|(_, _, reason)| *reason)
        .collect();
    assert!(
        reasons[0].starts_with("not a trouble code: "),
        "{}",
        reasons[0]
    );
    assert_eq!(reasons[1], "an SPN without its FMI: a code needs both");
    assert_eq!(
        reasons[2],
        "the code's text says otherwise: 22 beside U0100-87"
    );
    assert_eq!(
        reasons[3],
        "module_address is missing: a code stands in a module"
    );
    assert_eq!(
        reasons[4],
        "the code's text says otherwise: 4 beside SPN168/FMI18"
    );
    assert_eq!(
        reasons[5],
        "two different codes on one line: P0562 beside SPN168/FMI4"
    );
}

#[test]
fn a_scan_that_contradicts_itself_is_told() {
    let other = format!("s,{},2026-05-01 10:00,2000,1,P0300,,,,\n", vin(1));
    let outcome = read(&[row("s", "1,P0562,,,,"), other]);
    assert_eq!(
        outcome.reason(),
        "the scan's own columns change between its lines: line 2 says otherwise of the same scan"
    );
    assert_eq!(outcome.count("code_scan"), 1);
}

#[test]
fn a_scan_without_a_number_is_known_by_vehicle_and_time() {
    let text = format!(
        "vin,scanned_at,module_address,code,odometer_km\n{0},2026-05-01 10:00,1,P0562,5\n{0},2026-05-01 10:00,2,P0563,5\n",
        vin(1)
    );
    let outcome = Folder::new().read("scans.csv", text);
    let id = Some(format!("{} 2026-05-01 10:00 UTC", vin(1)));
    assert_eq!(
        outcome.texts("code_scan", "scan_id"),
        std::slice::from_ref(&id)
    );
    assert_eq!(outcome.texts("trouble_code", "scan_id"), [id.clone(), id]);
}
