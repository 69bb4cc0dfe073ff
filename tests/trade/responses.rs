//! Answers of the emissions services and of the unified fault memory services.

use proptest::prelude::*;
use voltwane::trade::diagnostics::legislated::{self, Bus, Memory, MonitorStatus, Value};
use voltwane::trade::diagnostics::unified::{self, ClearGroup, Format, ListedCode};
use voltwane::trade::diagnostics::{DecodeError, is_request, refusal_text};
use voltwane::trade::heavy_code::HeavyCode;
use voltwane::trade::trouble_code::Status;

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

fn codes(text: &str, bus: Bus) -> Result<(Memory, Vec<String>), DecodeError> {
    match legislated::read_answer(&hex(text), bus)? {
        legislated::Answer::Codes { memory, codes } => {
            Ok((memory, codes.iter().map(ToString::to_string).collect()))
        }
        other => panic!("{text}: {other:?}"),
    }
}

/// SAE J1979 over ISO 15765-4: a count of codes, then two bytes each. All lines are made by
/// that rule and the one of 40 above the request (from memory).
#[test]
fn codes_on_can_are_counted() {
    for (text, memory, expected) in [
        (
            "43 02 01 02 01 13",
            Memory::Confirmed,
            &["P0102", "P0113"][..],
        ),
        ("43 02 01 33 05 62", Memory::Confirmed, &["P0133", "P0562"]),
        ("43 00", Memory::Confirmed, &[]),
        (
            "43 03 01 33 05 62 C1 00",
            Memory::Confirmed,
            &["P0133", "P0562", "U0100"],
        ),
        ("43 01 0A 8D 00 00 00", Memory::Confirmed, &["P0A8D"]),
        ("47 01 05 62 AA AA AA", Memory::Pending, &["P0562"]),
        ("4A 01 F0 03", Memory::Permanent, &["U3003"]),
    ] {
        let (found_memory, found) = codes(text, Bus::Can).unwrap();
        assert_eq!(
            (found_memory, &found[..]),
            (
                memory,
                &expected.iter().map(|c| c.to_string()).collect::<Vec<_>>()[..]
            )
        );
    }
}

/// SAE J1979 on K-line and J1850: no count, pairs filled up with zeros.
#[test]
fn codes_on_older_buses_are_pairs() {
    assert_eq!(
        codes("43 01 33 05 62 00 00", Bus::Older),
        Ok((Memory::Confirmed, vec!["P0133".into(), "P0562".into()]))
    );
    assert_eq!(
        codes("43 01 33 00 00 00 00", Bus::Older),
        Ok((Memory::Confirmed, vec!["P0133".into()]))
    );
    assert_eq!(
        codes("43 00 00 00 00 00 00", Bus::Older),
        Ok((Memory::Confirmed, vec![]))
    );
}

/// Taking the count for a code gives P0201, a real-looking wrong code: the odd byte gives it away.
#[test]
fn the_wrong_bus_is_noticed() {
    let (_, right) = codes("43 02 01 33 04 20", Bus::Can).unwrap();
    assert_eq!(right, ["P0133", "P0420"]);
    let expected = "the second byte of a code";
    assert_eq!(
        codes("43 02 01 33 04 20", Bus::Older),
        Err(DecodeError::Short { at: 6, expected })
    );
    assert_eq!(
        codes("43 01 33 05 62 00 00", Bus::Can),
        Err(DecodeError::Surplus { at: 4, count: 3 })
    );
}

#[test]
fn faults_of_an_answer_are_told_with_their_offset() {
    for (text, fault) in [
        ("", "ends at byte 0"),
        ("43", "ends at byte 1"),
        ("43 02 01 33 05", "ends at byte 5"),
        ("43 01 00 00", "byte 2 is 00"),
        ("03", "byte 0 is 03"),
        ("41", "ends at byte 1"),
        ("41 42 36", "ends at byte 3"),
        (
            "7F 03 31",
            "service 03 refused with 31: request out of range",
        ),
        ("7F 03", "ends at byte 2"),
        ("44 12 34", "2 bytes from byte 1"),
    ] {
        let message = legislated::read_answer(&hex(text), Bus::Can)
            .unwrap_err()
            .to_string();
        assert!(message.contains(fault), "{text}: {message}");
    }
    let pending = legislated::read_answer(&hex("7F 03 78"), Bus::Can).unwrap_err();
    assert!(pending.is_answer_pending());
    assert_ne!(refusal_text(0x31), refusal_text(0xF0));
}

/// Scales of SAE J1979 (from memory).
#[test]
fn values_of_service_01() {
    for (text, value) in [
        ("41 42 36 B0", Value::SupplyVoltageV(14.0)),
        ("41 42 2E E0", Value::SupplyVoltageV(12.0)),
        ("41 31 04 D2", Value::KmSinceClear(1234)),
        ("41 4E 05 A0", Value::MinSinceClear(1440)),
        ("41 30 0C", Value::WarmUpsSinceClear(12)),
        ("41 30 FF", Value::WarmUpsSinceClear(255)),
        ("41 21 00 10", Value::LampOnKm(16)),
        ("41 1F 01 2C", Value::RunTimeS(300)),
        ("41 4D 00 3C", Value::LampOnMin(60)),
        (
            "41 00 BE 1F A8 13",
            Value::Supported {
                after: 0,
                bits: 0xBE1F_A813,
            },
        ),
        ("41 31 04 D2 00 00 00", Value::KmSinceClear(1234)),
    ] {
        match legislated::read_answer(&hex(text), Bus::Can) {
            Ok(legislated::Answer::Current(data)) => {
                assert_eq!(
                    (&data.values[..], data.not_read),
                    (&[value][..], None),
                    "{text}"
                );
            }
            other => panic!("{text}: {other:?}"),
        }
    }
}

#[test]
fn several_parameters_in_one_answer() {
    let answer = legislated::read_answer(&hex("41 42 2E E0 30 0C 31 04 D2 0C 1A F8"), Bus::Can);
    let Ok(legislated::Answer::Current(data)) = answer else {
        panic!("{answer:?}")
    };
    let values = [
        Value::SupplyVoltageV(12.0),
        Value::WarmUpsSinceClear(12),
        Value::KmSinceClear(1234),
    ];
    assert_eq!(data.values, values);
    assert_eq!(
        data.not_read,
        Some((9, 0x0C)),
        "engine speed is not read here"
    );
}

/// Parameter 01, made by the published layout: lamp and count in A, misfire, fuel and components in B,
/// then supported (C) and not complete (D); 0 is complete.
#[test]
fn readiness_of_spark_ignition() {
    let answer = legislated::read_answer(&hex("41 01 83 07 65 04"), Bus::Can);
    let Ok(legislated::Answer::Current(data)) = answer else {
        panic!("{answer:?}")
    };
    let [Value::Monitors(status)] = data.values[..] else {
        panic!("{data:?}")
    };
    assert!(status.lamp_on() && !status.is_compression_ignition());
    assert_eq!(
        (
            status.code_count(),
            status.supported_count(),
            status.ready_count()
        ),
        (3, 7, 6)
    );
    let names: Vec<(&str, bool)> = status
        .monitors()
        .map(|monitor| (monitor.name, monitor.complete))
        .collect();
    let expected = [
        ("misfire", true),
        ("fuel system", true),
        ("components", true),
        ("catalyst", true),
        ("evaporative system", false),
        ("oxygen sensor", true),
        ("oxygen sensor heater", true),
    ];
    assert_eq!(names, expected);
}

/// After a battery was disconnected the monitors stand at not complete.
#[test]
fn readiness_of_compression_ignition() {
    let status = MonitorStatus::new([0x00, 0x7F, 0xEB, 0xEB]);
    assert!(status.is_compression_ignition() && !status.lamp_on());
    assert_eq!(
        (
            status.code_count(),
            status.supported_count(),
            status.ready_count()
        ),
        (0, 9, 0)
    );
    let fuel_open = MonitorStatus::new([0x00, 0x2F, 0x00, 0x00]);
    let incomplete: Vec<&str> = fuel_open
        .monitors()
        .filter(|m| !m.complete)
        .map(|m| m.name)
        .collect();
    assert_eq!(incomplete, ["fuel system"]);
    let none = MonitorStatus::new([0x00, 0x08, 0x00, 0x00]);
    assert_eq!(none.supported_count(), 0);
}

/// Worked example of ISO 14229-1, clause 11.3.5.3, as quoted in public: codes by status mask 84.
#[test]
fn unified_codes_by_status_mask() {
    let answer = unified::read_answer(&hex("59 02 7F 0A 9B 17 24 08 05 11 2F"));
    let Ok(unified::Answer::Codes {
        subfunction,
        availability,
        codes,
    }) = answer
    else {
        panic!("{answer:?}")
    };
    assert_eq!((subfunction, availability), (0x02, 0x7F));
    let found: Vec<(String, Status)> = codes
        .iter()
        .map(|entry| (entry.code.as_typed().unwrap().to_string(), entry.status))
        .collect();
    assert_eq!(
        found,
        [
            ("P0A9B-17".to_owned(), Status(0x24)),
            ("P0805-11".to_owned(), Status(0x2F))
        ]
    );
    let none = unified::read_answer(&hex("59 02 7F"));
    assert!(matches!(none, Ok(unified::Answer::Codes { codes, .. }) if codes.is_empty()));
}

/// Worked example of ISO 14229-1, clause 11.3.5.2, as quoted in public: one code by status mask 08.
#[test]
fn unified_count_by_status_mask() {
    let expected = unified::Answer::Count {
        availability: 0x2F,
        format: Format::Unified,
        count: 1,
    };
    assert_eq!(
        unified::read_answer(&hex("59 01 2F 01 00 01")),
        Ok(expected)
    );
    let heavy = unified::read_answer(&hex("59 07 FF 02 01 00"));
    assert_eq!(
        heavy,
        Ok(unified::Answer::Count {
            availability: 0xFF,
            format: Format::J1939,
            count: 256
        })
    );
}

/// Layouts of the other subfunctions of ISO 14229-1 (from memory).
#[test]
fn unified_supported_codes_severity_counters_and_clears() {
    let supported = unified::read_answer(&hex("59 0A FF 0A 9B 17 24 25 22 1F 00"));
    assert!(
        matches!(supported, Ok(unified::Answer::Codes { subfunction: 0x0A, codes, .. }) if codes.len() == 2)
    );
    let severity = unified::read_answer(&hex("59 08 7F 20 10 F0 03 16 2F"));
    let Ok(unified::Answer::Codes { codes, .. }) = severity else {
        panic!("{severity:?}")
    };
    assert_eq!(codes[0].severity, Some((0x20, 0x10)));
    assert_eq!(codes[0].code.as_typed().unwrap().to_string(), "U3003-16");
    let counters = unified::read_answer(&hex("59 14 F0 03 16 05"));
    assert_eq!(
        counters,
        Ok(unified::Answer::Counters(vec![(
            ListedCode {
                bytes: [0xF0, 0x03, 0x16]
            },
            5
        )]))
    );
    assert_eq!(
        unified::read_answer(&hex("54")),
        Ok(unified::Answer::Cleared)
    );
    assert_eq!(
        unified::read_clear_request(&hex("14 FF FF FF")),
        Ok(ClearGroup::All)
    );
    let one = ClearGroup::Only(ListedCode {
        bytes: [0xF0, 0x03, 0x16],
    });
    assert_eq!(unified::read_clear_request(&hex("14 F0 03 16")), Ok(one));
}

/// SPN and FMI in the three bytes, as SAE J1939-73 packs them.
#[test]
fn unified_code_taken_as_spn_and_fmi() {
    let listed = ListedCode {
        bytes: [0xB8, 0x04, 0x03],
    };
    assert_eq!(listed.as_heavy(), HeavyCode::new(1208, 3));
    assert_eq!(
        ListedCode {
            bytes: [0xFF, 0xFF, 0xFF]
        }
        .as_heavy(),
        HeavyCode::new(524_287, 31)
    );
}

#[test]
fn unified_faults_are_told_with_their_offset() {
    for (text, fault) in [
        ("59", "ends at byte 1"),
        ("59 02", "ends at byte 2"),
        ("59 02 7F 0A 9B 17", "ends at byte 6"),
        ("59 02 7F 0A 9B 17 24 08 05", "ends at byte 9"),
        ("59 04 0A 9B 17 24", "byte 1 is 04"),
        ("62 F1 90", "byte 0 is 62"),
        (
            "7F 19 12",
            "service 19 refused with 12: subfunction not supported",
        ),
        ("59 01 2F 01 00 01 07", "1 bytes from byte 6"),
    ] {
        let message = unified::read_answer(&hex(text)).unwrap_err().to_string();
        assert!(message.contains(fault), "{text}: {message}");
    }
    assert!(unified::read_clear_request(&hex("14 FF")).is_err());
    assert!(is_request(&hex("19 02 FF")) && !is_request(&hex("59 02 FF")) && !is_request(&[]));
}

proptest! {
    /// Any codes written by the rule of the bus are read back.
    #[test]
    fn codes_round_trip_on_both_buses(pairs in proptest::collection::vec(any::<[u8; 2]>(), 0..200)) {
        let pairs: Vec<[u8; 2]> = pairs.into_iter().filter(|pair| *pair != [0, 0]).collect();
        let data: Vec<u8> = pairs.concat();
        for (bus, head) in [(Bus::Can, vec![0x43, pairs.len() as u8]), (Bus::Older, vec![0x43])] {
            let message = [head, data.clone()].concat();
            match legislated::read_answer(&message, bus) {
                Ok(legislated::Answer::Codes { codes, .. }) => {
                    prop_assert_eq!(codes.iter().map(|code| code.to_bytes()).collect::<Vec<_>>(), pairs.clone());
                }
                other => prop_assert!(false, "{other:?}"),
            }
        }
    }

    /// Any bytes give an answer no longer than they are, or a fault that lies within them.
    #[test]
    fn any_bytes_are_read_or_refused(
        head in proptest::sample::select(vec![0x41u8, 0x43, 0x44, 0x47, 0x4A, 0x54, 0x59, 0x7F, 0x00]),
        subfunction: u8,
        rest in proptest::collection::vec(any::<u8>(), 0..80),
    ) {
        let message = [vec![head, subfunction], rest].concat();
        for bus in [Bus::Can, Bus::Older] {
            match legislated::read_answer(&message, bus) {
                Ok(legislated::Answer::Codes { codes, .. }) => prop_assert!(codes.len() * 2 <= message.len()),
                Ok(legislated::Answer::Current(data)) => prop_assert!(data.values.len() * 2 <= message.len()),
                Ok(legislated::Answer::Cleared) => prop_assert_eq!(head, 0x44),
                Err(fault) => prop_assert!(lies_within(fault, &message)),
            }
        }
        match unified::read_answer(&message) {
            Ok(unified::Answer::Codes { codes, .. }) => prop_assert!(codes.len() * 4 <= message.len()),
            Ok(_) => {}
            Err(fault) => prop_assert!(lies_within(fault, &message)),
        }
        let _ = unified::read_clear_request(&message[1..]);
    }
}

fn lies_within(fault: DecodeError, message: &[u8]) -> bool {
    match fault {
        DecodeError::Short { at, .. } => at == message.len(),
        DecodeError::Unexpected { at, found, .. } => message.get(at) == Some(&found),
        DecodeError::Surplus { at, count } => at + count == message.len(),
        DecodeError::Refused { .. } => message[0] == 0x7F,
    }
}
