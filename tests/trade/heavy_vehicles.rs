//! Packets and codes of heavy vehicles: SAE J1939-21 and J1939-73.

use proptest::prelude::*;
use voltwane::trade::diagnostics::active_codes::{
    ActiveCode, Flash, Lamp, LampState, Lamps, Layout, List, read_active_codes, write_active_codes,
    write_code,
};
use voltwane::trade::diagnostics::broadcast::{
    self, EVERYONE, Identifier, PacketFault, PacketJoiner, announce,
};
use voltwane::trade::heavy_code::HeavyCode;

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

/// Layout of the identifier by SAE J1939-21; DM1 and DM2 groups as published.
#[test]
fn identifiers_of_heavy_vehicles() {
    let dm1 = Identifier::new(0x18FE_CA00);
    assert_eq!(
        dm1,
        Identifier {
            priority: 6,
            group: 65226,
            source: 0x00,
            destination: EVERYONE
        }
    );
    assert_eq!(List::of_group(dm1.group), Some(List::Active));
    assert_eq!(
        List::of_group(Identifier::new(0x18FE_CB21).group),
        Some(List::PreviouslyActive)
    );
    assert_eq!(Identifier::new(0x0CF0_0400).group, 61444);
    assert_eq!(List::of_group(61444), None);
    let announcement = Identifier::new(0x1CEC_FF12);
    assert_eq!(
        announcement,
        Identifier {
            priority: 7,
            group: broadcast::CONNECTION_GROUP,
            source: 0x12,
            destination: EVERYONE
        }
    );
    let connection = Identifier::new(0x18EB_F903);
    assert_eq!(
        (connection.group, connection.destination, connection.source),
        (broadcast::DATA_GROUP, 0xF9, 0x03)
    );
}

/// Two codes of DM1 by broadcast announcement, SAE J1939-21: length 2 + 4 n, low byte first.
#[test]
fn packets_of_a_message_are_joined() {
    let mut joiner = PacketJoiner::default();
    assert_eq!(
        joiner.take(0x1CEC_FF00, &hex("20 0A 00 02 FF CA FE 00")),
        broadcast::Step::default()
    );
    assert_eq!(
        joiner.take(0x1CEB_FF00, &hex("01 04 FF A8 00 01 05 B8")),
        broadcast::Step::default()
    );
    let message = joiner
        .take(0x1CEB_FF00, &hex("02 04 03 0A FF FF FF FF"))
        .message
        .unwrap();
    assert_eq!(
        (message.group, message.source, message.destination),
        (65226, 0x00, EVERYONE)
    );
    let found = read_active_codes(&message.data, Layout::default()).unwrap();
    let codes: Vec<String> = found
        .codes
        .iter()
        .map(|code| code.code.to_string())
        .collect();
    assert_eq!(codes, ["SPN168/FMI1", "SPN1208/FMI3"]);
    // A short message is whole as it comes.
    let message = joiner
        .take(0x18FE_CA21, &hex("04 FF A8 00 01 05 FF FF"))
        .message
        .unwrap();
    assert_eq!((message.source, message.data.len()), (0x21, 8));
}

/// An announcement of 257 bytes in 37 packets of group 1FF03, by the form of SAE J1939-21 (from memory).
#[test]
fn a_published_announcement() {
    let mut joiner = PacketJoiner::default();
    joiner.take(0x1CEC_FF12, &hex("20 01 01 25 FF 03 FF 01"));
    joiner.take(0x1CEB_FF12, &hex("01 53 43 46 30 4D 79 20"));
    assert_eq!(
        joiner.finish(),
        [(
            (0x12, EVERYONE),
            PacketFault::Unfinished {
                have: 7,
                length: 257
            }
        )]
    );
}

#[test]
fn lost_doubled_and_misplaced_packets_are_reported_and_not_guessed() {
    let frames = announce(65226, 0x00, &[7; 20]).unwrap();
    assert_eq!(frames.len(), 4);
    let run = |order: &[usize]| {
        let mut joiner = PacketJoiner::default();
        let steps: Vec<_> = order
            .iter()
            .map(|i| joiner.take(frames[*i].0, &frames[*i].1))
            .collect();
        let mut faults: Vec<PacketFault> = steps.iter().filter_map(|step| step.fault).collect();
        faults.extend(joiner.finish().into_iter().map(|(_, fault)| fault));
        (
            steps.iter().filter(|step| step.message.is_some()).count(),
            faults,
        )
    };
    let length = 20;
    for (order, messages, fault) in [
        (&[0, 1, 2, 3][..], 1, None),
        (
            &[0, 1, 3],
            0,
            Some(PacketFault::Lost {
                expected: 2,
                found: 3,
                have: 7,
                length,
            }),
        ),
        (
            &[0, 1, 1, 2, 3],
            0,
            Some(PacketFault::Doubled {
                number: 1,
                have: 7,
                length,
            }),
        ),
        (&[1, 2, 3], 0, Some(PacketFault::NoBeginning { number: 1 })),
        (
            &[0, 1, 2],
            0,
            Some(PacketFault::Unfinished { have: 14, length }),
        ),
        (
            &[0, 1, 0, 1, 2, 3],
            1,
            Some(PacketFault::Interrupted { have: 7, length }),
        ),
    ] {
        assert_eq!(
            run(order),
            (messages, fault.into_iter().collect()),
            "{order:?}"
        );
    }
    let mut joiner = PacketJoiner::default();
    for (frame, what) in [
        ("20 0A 00 03 FF CA FE 00", "10 bytes in 3 packets"),
        ("20 08 00 02 FF CA FE 00", "8 bytes in 2 packets"),
        ("20 FF FF FF FF CA FE 00", "65535 bytes"),
        ("55 0A 00 02 FF CA FE 00", "control byte 55"),
        ("20 0A", "2 bytes"),
    ] {
        let fault = joiner.take(0x1CEC_FF00, &hex(frame)).fault.unwrap();
        assert!(fault.to_string().contains(what), "{frame}: {fault}");
    }
}

#[test]
fn a_connection_can_be_given_up_by_either_side() {
    let mut joiner = PacketJoiner::default();
    assert_eq!(
        joiner
            .take(0x18EC_F903, &hex("10 14 00 03 FF CB FE 00"))
            .fault,
        None
    );
    assert_eq!(
        joiner
            .take(0x18EC_03F9, &hex("11 03 01 FF FF CB FE 00"))
            .fault,
        None
    );
    assert_eq!(
        joiner
            .take(0x18EB_F903, &hex("01 01 02 03 04 05 06 07"))
            .fault,
        None
    );
    let fault = joiner
        .take(0x18EC_03F9, &hex("FF 02 FF FF FF CB FE 00"))
        .fault;
    assert_eq!(
        fault,
        Some(PacketFault::GivenUp {
            have: 7,
            length: 20
        })
    );
}

/// Layout of a code in SAE J1939-73: version 4 from a published application manual (2007), versions 1
/// to 3 from memory. SPN 1208, FMI 3, count 10 is recalled as the standard's own example.
#[test]
fn layouts_of_a_heavy_code() {
    let table: &[(u32, u8, u8, [&str; 4])] = &[
        (
            1208,
            3,
            10,
            ["00 97 03 8A", "97 00 03 8A", "B8 04 03 8A", "B8 04 03 0A"],
        ),
        (
            168,
            1,
            5,
            ["00 15 01 85", "15 00 01 85", "A8 00 01 85", "A8 00 01 05"],
        ),
        (
            158,
            18,
            1,
            ["00 13 D2 81", "13 00 D2 81", "9E 00 12 81", "9E 00 12 01"],
        ),
        (
            167,
            18,
            126,
            ["00 14 F2 FE", "14 00 F2 FE", "A7 00 12 FE", "A7 00 12 7E"],
        ),
        (
            520_192,
            31,
            127,
            ["FE 00 1F FF", "00 FE 1F FF", "00 F0 FF FF", "00 F0 FF 7F"],
        ),
        (
            524_287,
            31,
            126,
            ["FF FF FF FE", "FF FF FF FE", "FF FF FF FE", "FF FF FF 7E"],
        ),
        (
            639,
            2,
            2,
            ["00 4F E2 82", "4F 00 E2 82", "7F 02 02 82", "7F 02 02 02"],
        ),
    ];
    let layouts = [
        Layout::Version1,
        Layout::Version2,
        Layout::Version3,
        Layout::Version4,
    ];
    for (spn, fmi, count, texts) in table {
        for (layout, text) in layouts.into_iter().zip(texts) {
            let code = ActiveCode {
                code: HeavyCode::new(*spn, *fmi).unwrap(),
                occurrence_count: (*count != 127).then_some(*count),
                layout,
            };
            assert_eq!(write_code(&code).to_vec(), hex(text), "{spn} {layout:?}");
            let data = [hex("04 FF"), hex(text), hex("FF FF")].concat();
            assert_eq!(
                read_active_codes(&data, layout).unwrap().codes,
                [code],
                "{spn} {layout:?}"
            );
        }
    }
}

/// Lamps by SAE J1939-73: from bit 8 down malfunction, red stop, amber warning, protect, two bits each
/// (a published application manual, 2007; flash values from memory).
#[test]
fn lamps_of_a_message() {
    let lamps = |text: &str| {
        read_active_codes(&hex(text), Layout::default())
            .unwrap()
            .lamps
    };
    let on = |text: &str| {
        [
            Lamp::Malfunction,
            Lamp::RedStop,
            Lamp::AmberWarning,
            Lamp::Protect,
        ]
        .map(|l| lamps(text).state(l) == LampState::On)
    };
    assert_eq!(on("04 FF A8 00 01 05 FF FF"), [false, false, true, false]);
    assert_eq!(on("50 FF A8 00 01 05 FF FF"), [true, true, false, false]);
    assert_eq!(on("55 FF A8 00 01 05 FF FF"), [true; 4]);
    let mixed = lamps("E4 1B 00 00 00 00 FF FF");
    assert_eq!(mixed.state(Lamp::Malfunction), LampState::NotAvailable);
    assert_eq!(mixed.state(Lamp::RedStop), LampState::Error);
    assert_eq!(mixed.state(Lamp::Protect), LampState::Off);
    assert_eq!(mixed.flash(Lamp::Malfunction), Flash::Slow);
    assert_eq!(mixed.flash(Lamp::RedStop), Flash::Fast);
    assert_eq!(mixed.flash(Lamp::AmberWarning), Flash::Reserved);
    assert_eq!(mixed.flash(Lamp::Protect), Flash::SteadyOrNotAvailable);
}

/// `04 FF 64 00 01 01 FF FF` is SPN 100 FMI 1 by the bit layout of SAE J1939-73 (from memory); no code is 00 (or, in older units, FF).
#[test]
fn messages_with_one_code_and_none() {
    let read = |text: &str| read_active_codes(&hex(text), Layout::default());
    let one = read("04 FF 64 00 01 01 FF FF").unwrap();
    assert_eq!(one.codes.len(), 1);
    assert_eq!(
        (one.codes[0].code.to_string(), one.codes[0].occurrence_count),
        ("SPN100/FMI1".to_owned(), Some(1))
    );
    assert_eq!(read("00 FF 00 00 00 00 FF FF").unwrap().codes, []);
    assert_eq!(read("00 FF FF FF FF FF FF FF").unwrap().codes, []);
    assert_eq!(read("00 FF").unwrap().codes, []);
    assert!(read("").is_err() && read("00").is_err());
    let message = read("04 FF 64 00 01 01 12 34").unwrap_err().to_string();
    assert!(message.contains("ends at byte 8"), "{message}");
    let older = read("04 FF B8 04 03 8A FF FF").unwrap();
    assert_eq!(
        older.codes[0].layout,
        Layout::Version3,
        "the layout was chosen, not told"
    );
    let bad_choice = read_active_codes(&hex("04 FF B8 04 03 8A FF FF"), Layout::Version4).unwrap();
    assert_eq!(bad_choice.codes, older.codes);
}

fn any_code() -> impl Strategy<Value = ActiveCode> {
    let layouts = [Layout::Version2, Layout::Version4];
    // SPN 0 with nothing else set reads as no code, so it is left out.
    (
        1u32..=524_287,
        0u8..=31,
        0u8..=126,
        proptest::sample::select(layouts.to_vec()),
    )
        .prop_map(|(spn, fmi, count, layout)| ActiveCode {
            code: HeavyCode::new(spn, fmi).unwrap(),
            occurrence_count: Some(count),
            layout,
        })
}

proptest! {
    #[test]
    fn messages_round_trip_through_packets(
        message in proptest::collection::vec(any::<u8>(), 9..=1785), group in 0xF000u32..0x3_FFFF, source: u8,
    ) {
        let mut joiner = PacketJoiner::default();
        let frames = announce(group, source, &message).unwrap();
        let steps: Vec<_> = frames.iter().map(|(identifier, frame)| joiner.take(*identifier, frame)).collect();
        prop_assert!(steps.iter().all(|step| step.fault.is_none()));
        let found: Vec<_> = steps.into_iter().filter_map(|step| step.message).collect();
        prop_assert_eq!(found, [broadcast::Message { group, source, destination: EVERYONE, data: message }]);
    }

    #[test]
    fn heavy_codes_round_trip_through_messages(
        codes in proptest::collection::vec(any_code(), 0..400), lamps: [u8; 2],
    ) {
        let data = write_active_codes(Lamps::new(lamps), &codes);
        let found = read_active_codes(&data, Layout::Version2).unwrap();
        prop_assert_eq!(found.codes, codes);
        prop_assert_eq!(found.lamps, Lamps::new(lamps));
    }

    /// Any frames: no panic, and never more bytes out than in.
    #[test]
    fn any_packets_are_joined_or_refused(
        frames in proptest::collection::vec(
            (prop_oneof![Just(0x1CEC_FF00u32), Just(0x1CEB_FF00), Just(0x18FE_CA00), any::<u32>()],
             proptest::collection::vec(prop_oneof![Just(0x10u8), Just(0x20), Just(0x01), any::<u8>()], 0..12)),
            0..60,
        ),
        well_formed in proptest::collection::vec((0u8..4, 0u8..4), 0..60),
    ) {
        let announced = announce(65226, 0, &[1; 20]).unwrap();
        let well_formed = well_formed.into_iter().map(|(source, at)| {
            let (identifier, frame) = announced[usize::from(at)];
            (identifier | u32::from(source), frame.to_vec())
        });
        let frames: Vec<(u32, Vec<u8>)> = frames.into_iter().chain(well_formed).collect();
        let taken: usize = frames.iter().map(|(_, frame)| frame.len()).sum();
        let (mut joiner, mut given) = (PacketJoiner::default(), 0);
        for (identifier, frame) in &frames {
            given += joiner.take(*identifier, frame).message.map_or(0, |message| message.data.len());
            for layout in [Layout::Version1, Layout::Version2, Layout::Version3, Layout::Version4] {
                if let Ok(found) = read_active_codes(frame, layout) {
                    prop_assert!(found.codes.len() * 4 + 2 <= frame.len());
                }
            }
        }
        prop_assert!(given <= taken);
        prop_assert!(joiner.finish().len() <= frames.len());
    }
}
