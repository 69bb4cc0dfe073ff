//! Logs of diagnostic messages become scans and codes.
//!
//! The bytes follow SAE J1979 (services 01, 03, 07, 09), ISO 14229-1 (service 19) and SAE J1939-73
//! (DM1); frames follow ISO 15765-2; the time stamps are seconds since 1970 as `date -u -d @N` reads them.

use voltwane::trade::diagnostics::segments::split;

use super::reading::{Folder, Outcome, vin};

/// Frames of a message as lines of a SocketCAN log, from 2026-05-01 10:00 on.
fn frames(identifier: &str, message: &[u8]) -> String {
    let frames = split(message).unwrap();
    let hex = |frame: &[u8; 8]| {
        frame
            .iter()
            .map(|byte| format!("{byte:02X}"))
            .collect::<String>()
    };
    frames
        .iter()
        .map(|frame| format!("(1777629600.250000) can0 {identifier}#{}\n", hex(frame)))
        .collect()
}

fn vin_answer() -> Vec<u8> {
    [&[0x49, 0x02, 0x01], vin(1).as_bytes()].concat()
}

fn log() -> String {
    [
        "(1777629600.000000) can0 7DF#0201010000000000\n".to_owned(),
        "(1777629600.000000) can0 123#DEADBEEF\n(1777629600.100000) can0 7E8#R\n".to_owned(),
        frames("7E8", &vin_answer()),
        frames("7E8", &[0x41, 0x01, 0x82, 0x07, 0x65, 0x04]),
        frames("7E8", &[0x41, 0x42, 0x2E, 0xE0]),
        frames("7E8", &[0x41, 0x42, 0x25, 0x1C]),
        frames("7E8", &[0x41, 0x30, 0x14]),
        frames("7E8", &[0x41, 0x31, 0x00, 0xC8]),
        frames("7E8", &[0x43, 0x01, 0x05, 0x62]),
        frames("7E8", &[0x47, 0x01, 0x05, 0x62]),
        frames(
            "7A8",
            &[
                0x59, 0x02, 0xFF, 0xC1, 0x00, 0x87, 0x08, 0x05, 0x62, 0x16, 0x24,
            ],
        ),
        frames("7E9", &[0x7F, 0x03, 0x11]),
    ]
    .concat()
}

fn codes(outcome: &Outcome) -> Vec<(String, String)> {
    let modules = outcome.texts("trouble_code", "module_address");
    let codes = outcome.texts("trouble_code", "code");
    let mut pairs: Vec<_> = modules
        .into_iter()
        .flatten()
        .zip(codes.into_iter().flatten())
        .collect();
    pairs.sort();
    pairs
}

fn pairs(expected: &[(&str, &str)]) -> Vec<(String, String)> {
    expected
        .iter()
        .map(|(module, code)| ((*module).to_owned(), (*code).to_owned()))
        .collect()
}

#[test]
fn a_can_log_becomes_one_scan_with_its_codes() {
    let outcome = Folder::new().read("drive.log", log());
    assert!(outcome.quarantined.is_empty(), "{:?}", outcome.quarantined);
    let scan = "code_scan";
    assert_eq!(outcome.texts(scan, "vin"), [Some(vin(1))]);
    assert_eq!(
        outcome.instants(scan, "scanned_at"),
        [Some("2026-05-01T10:00:00Z".to_owned())]
    );
    // 0x251C mV, the lowest of the two; 20 warm-ups; 200 km; three modules answered.
    assert_eq!(outcome.numbers(scan, "supply_voltage_v"), [Some(9.5)]);
    assert_eq!(outcome.wholes(scan, "warm_ups_since_clear"), [Some(20)]);
    assert_eq!(outcome.numbers(scan, "km_since_clear"), [Some(200.0)]);
    assert_eq!(outcome.wholes(scan, "modules_answered"), [Some(3)]);
    // Bits of 07 65 04: seven monitors, one of them not complete.
    assert_eq!(outcome.wholes(scan, "monitors_supported"), [Some(7)]);
    assert_eq!(outcome.wholes(scan, "monitors_ready"), [Some(6)]);
    assert_eq!(
        codes(&outcome),
        pairs(&[("7A8", "P0562"), ("7A8", "U0100"), ("7E8", "P0562")])
    );
    let mut types = outcome.wholes("trouble_code", "failure_type");
    types.sort();
    assert_eq!(types, [None, Some(0x16), Some(0x87)]);
}

#[test]
fn stored_and_pending_are_one_code() {
    let outcome = Folder::new().read("drive.log", log());
    let modules = outcome.texts("trouble_code", "module_address");
    let at = modules
        .iter()
        .position(|module| module.as_deref() == Some("7E8"))
        .unwrap();
    assert_eq!(outcome.flags("trouble_code", "confirmed")[at], Some(true));
    assert_eq!(outcome.flags("trouble_code", "pending")[at], Some(true));
}

#[test]
fn a_lost_frame_is_reported_and_nothing_guessed() {
    let whole = log();
    let lost: String = whole
        .lines()
        .filter(|line| !line.contains("7A8#21"))
        .map(|line| format!("{line}\n"))
        .collect();
    let outcome = Folder::new().read("drive.log", lost);
    assert_eq!(codes(&outcome), pairs(&[("7E8", "P0562")]));
    assert!(
        outcome
            .reason()
            .starts_with("frames do not make a message: "),
        "{}",
        outcome.reason()
    );
}

#[test]
fn hexadecimal_lines_are_read_with_and_without_identifier() {
    let notes = format!(
        "# vin: {}\n# scanned_at: 2026-05-01 12:00\n# odometer_km: 1000\n# a comment\n",
        vin(1)
    );
    let expected = pairs(&[("7E8", "P0562"), ("7E8", "P0300")]);
    for lines in [
        "7E8 06 43 02 05 62 03 00\n",
        "7E80643020562 0300\n",
        "> 03\n# module_address: 7E8\n< 43 02 05 62 03 00\n",
        "# module_address: 7E8\n430205620300\n",
        "# module_address: 7E8\n# bus: older\n43 05 62 03 00 00 00\n",
    ] {
        let outcome = Folder::new().read("answers.txt", notes.clone() + lines);
        let mut sorted = expected.clone();
        sorted.sort();
        assert_eq!(codes(&outcome), sorted, "{lines}");
        assert_eq!(
            outcome.instants("code_scan", "scanned_at"),
            [Some("2026-05-01T12:00:00Z".to_owned())]
        );
        assert_eq!(outcome.numbers("code_scan", "odometer_km"), [Some(1000.0)]);
    }
    let outcome = Folder::new().read(
        "answers.txt",
        notes.clone() + "18 DA F1 10 04 43 01 05 62\n",
    );
    assert_eq!(codes(&outcome), pairs(&[("10", "P0562")]));
    let outcome = Folder::new().read("answers.txt", notes + "43 01 05 62\n");
    assert_eq!(
        outcome.reason(),
        "module_address is missing: a code stands in a module"
    );
}

#[test]
fn the_vehicle_may_stand_in_the_name_of_the_file() {
    let text = "# scanned_at: 2026-05-01\n7E8 04 43 01 05 62\n";
    let outcome = Folder::new().read(&format!("scan-{}.txt", vin(7)), text);
    assert_eq!(outcome.texts("code_scan", "vin"), [Some(vin(7))]);
    let outcome = Folder::new().read("scan.txt", text);
    assert_eq!(
        outcome.reason(),
        "vin is missing: vehicle identification number"
    );
}

#[test]
fn a_scan_without_codes_is_a_scan() {
    let outcome = Folder::new().read(
        "clean.log",
        frames("7E8", &vin_answer()) + &frames("7E8", &[0x43, 0x00]),
    );
    assert_eq!(outcome.count("code_scan"), 1);
    assert_eq!(outcome.count("trouble_code"), 0);
}

/// DM1 (group 65226) with lamps, then SPN 168 FMI 18 once: A8 00 12 01 (SAE J1939-73, version 4).
#[test]
fn codes_of_heavy_vehicles_are_read_from_broadcasts() {
    let name = "(1777629600.0) can1 18FECA0B#000041FFA8001201\n";
    let text = name.replace("000041FFA8001201", "00FFA8001201FFFF");
    let notes = format!("# vin: {}\n", vin(3));
    let outcome = Folder::new().read("truck.log", notes + &text + &text);
    assert_eq!(codes(&outcome), pairs(&[("0B", "SPN168/FMI18")]));
    assert_eq!(outcome.wholes("trouble_code", "spn"), [Some(168)]);
    assert_eq!(
        outcome.wholes("trouble_code", "occurrence_count"),
        [Some(1)]
    );
    assert_eq!(outcome.flags("trouble_code", "confirmed"), [Some(true)]);
}

#[test]
fn lines_that_are_no_messages_are_quarantined() {
    let outcome = Folder::new().read(
        "drive.log",
        log() + "(1777629600.0) can0 7E8#0G\nhello\n(17) can0\n",
    );
    let lines: Vec<&str> = outcome
        .quarantined
        .iter()
        .map(|row| row.raw_text.as_str())
        .collect();
    assert_eq!(lines, ["(1777629600.0) can0 7E8#0G", "hello", "(17) can0"]);
    assert!(
        outcome
            .quarantined
            .iter()
            .all(|row| row.reason.starts_with("not a line of a diagnostic log: "))
    );
    assert_eq!(codes(&outcome).len(), 3);
}

#[test]
fn a_mapping_says_what_a_log_cannot() {
    let folder = Folder::with_mapping(
        "kind = 'code_scan'\nform = 'diagnostic log'\nname = 'Loggers'\nshop = 'Corlund'\ntime_zone = 'America/Chicago'\n\
         [constants]\nmodule_address = 'engine'\n",
    );
    let text = format!(
        "# vin: {}\n# scanned_at: 2026-05-01 10:00\n43 01 05 62\n",
        vin(1)
    );
    let outcome = folder.read("answers.txt", text);
    assert_eq!(codes(&outcome), pairs(&[("engine", "P0562")]));
    assert_eq!(
        outcome.texts("code_scan", "shop"),
        [Some("Corlund".to_owned())]
    );
    assert_eq!(
        outcome.instants("code_scan", "scanned_at"),
        [Some("2026-05-01T15:00:00Z".to_owned())]
    );
    assert_eq!(outcome.summary().mapping_name(), "Loggers");
}
