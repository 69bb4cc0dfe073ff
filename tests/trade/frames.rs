//! Joining frames and packets, and the codes of heavy vehicles.

use proptest::prelude::*;
use voltwane::trade::diagnostics::active_codes::{
    ActiveCode, Flash, Lamp, LampState, Lamps, Layout, List, read_active_codes, write_active_codes,
    write_code,
};
use voltwane::trade::diagnostics::broadcast::{
    self, EVERYONE, Identifier, PacketFault, PacketJoiner, announce,
};
use voltwane::trade::diagnostics::segments::{
    Channels, FlowStatus, Frame, Joiner, SegmentFault, Step, read_frame, split,
};
use voltwane::trade::heavy_code::HeavyCode;

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect()
}

/// ISO 15765-2: three codes of service 03 in a first and a consecutive frame, with padding.
#[test]
fn frames_of_a_message_are_joined() {
    let mut joiner = Joiner::default();
    assert_eq!(
        joiner.take(&hex("10 08 43 03 01 33 05 62")),
        Step::default()
    );
    let step = joiner.take(&hex("21 C1 00 00 00 00 00 00"));
    assert_eq!(
        step,
        Step {
            message: Some(hex("43 03 01 33 05 62 C1 00")),
            fault: None
        }
    );
    let step = joiner.take(&hex("06 43 02 01 33 05 62 AA"));
    assert_eq!(
        step,
        Step {
            message: Some(hex("43 02 01 33 05 62")),
            fault: None
        }
    );
    assert_eq!(joiner.finish(), None);
}

/// Kinds of frame by the first half byte, ISO 15765-2; escapes for CAN FD and for long messages.
#[test]
fn kinds_of_frame() {
    let long = [hex("00 09"), vec![7; 62]].concat();
    assert_eq!(read_frame(&long), Ok(Frame::Single(&[7; 9])));
    assert_eq!(
        read_frame(&hex("10 00 00 00 12 34 01 02")),
        Ok(Frame::First {
            length: 0x1234,
            data: &[1, 2]
        })
    );
    assert_eq!(
        read_frame(&hex("2F 01")),
        Ok(Frame::Consecutive {
            sequence: 15,
            data: &[1]
        })
    );
    for (text, status, separation_us) in [
        ("30 00 00", FlowStatus::GoOn, Some(0)),
        ("31 08 7F", FlowStatus::Wait, Some(127_000)),
        ("32 00 F3", FlowStatus::Overflow, Some(300)),
        ("30 00 80", FlowStatus::GoOn, None),
    ] {
        let block_size = hex(text)[1];
        assert_eq!(
            read_frame(&hex(text)),
            Ok(Frame::FlowControl {
                status,
                block_size,
                separation_us
            }),
            "{text}"
        );
    }
    for (text, what) in [
        ("", "at least one byte"),
        ("00 01", "length 0"),
        ("07 01 02", "less than"),
        ("10", "has a length"),
        ("10 06 01 02 03 04 05 06", "length 6"),
        ("10 20 01", "length 32"),
        ("21", "has data"),
        ("30 00", "three bytes"),
        ("33 00 00", "begins no frame"),
        ("40 01 02", "begins no frame"),
    ] {
        let message = read_frame(&hex(text)).unwrap_err().to_string();
        assert!(message.contains(what), "{text}: {message}");
    }
}

/// Twenty bytes: frames of 6, 7 and 7.
fn twenty() -> Vec<[u8; 8]> {
    split(&(1..=20).collect::<Vec<u8>>()).unwrap()
}

#[test]
fn lost_doubled_and_misplaced_frames_are_reported_and_not_guessed() {
    let frames = twenty();
    let run = |order: &[usize]| {
        let mut joiner = Joiner::default();
        let mut steps: Vec<Step> = order.iter().map(|i| joiner.take(&frames[*i])).collect();
        steps.push(Step {
            message: None,
            fault: joiner.finish(),
        });
        let faults: Vec<SegmentFault> = steps.iter().filter_map(|step| step.fault).collect();
        (
            steps.iter().filter(|step| step.message.is_some()).count(),
            faults,
        )
    };
    let (length, begun, two) = (20, 6, 13);
    for (order, messages, fault) in [
        (&[0, 1, 2][..], 1, None),
        (
            &[0, 2],
            0,
            Some(SegmentFault::Lost {
                expected: 1,
                found: 2,
                have: begun,
                length,
            }),
        ),
        (
            &[0, 1, 1, 2],
            0,
            Some(SegmentFault::Doubled {
                sequence: 1,
                have: two,
                length,
            }),
        ),
        (
            &[0, 2, 1],
            0,
            Some(SegmentFault::Lost {
                expected: 1,
                found: 2,
                have: begun,
                length,
            }),
        ),
        (&[1, 2], 0, Some(SegmentFault::NoBeginning { sequence: 1 })),
        (
            &[0, 1],
            0,
            Some(SegmentFault::Unfinished { have: two, length }),
        ),
        (
            &[0, 1, 0, 1, 2],
            1,
            Some(SegmentFault::Interrupted { have: two, length }),
        ),
        (
            &[0, 2, 0, 1, 2],
            1,
            Some(SegmentFault::Lost {
                expected: 1,
                found: 2,
                have: begun,
                length,
            }),
        ),
    ] {
        assert_eq!(
            run(order),
            (messages, fault.into_iter().collect()),
            "{order:?}"
        );
    }
}

#[test]
fn a_single_frame_that_cuts_a_message_off_is_still_read() {
    let mut joiner = Joiner::default();
    joiner.take(&twenty()[0]);
    let step = joiner.take(&hex("02 43 00"));
    assert_eq!(step.message, Some(hex("43 00")));
    assert_eq!(
        step.fault,
        Some(SegmentFault::Interrupted {
            have: 6,
            length: 20
        })
    );
}

#[test]
fn a_short_frame_inside_a_message_is_reported() {
    let mut joiner = Joiner::default();
    joiner.take(&twenty()[0]);
    assert!(matches!(
        joiner.take(&hex("21 07 08")).fault,
        Some(SegmentFault::ShortFrame { found: 3, .. })
    ));
    assert_eq!(joiner.finish(), None);
}

/// A length of four gigabytes is announced in eight bytes: nothing is kept for it.
#[test]
fn a_message_above_the_limit_is_reported() {
    let mut joiner = Joiner::default();
    let step = joiner.take(&hex("10 00 FF FF FF FF 01 02"));
    assert_eq!(
        step.fault,
        Some(SegmentFault::TooLong {
            length: 0xFFFF_FFFF,
            limit: 4095
        })
    );
    let step = joiner.take(&hex("10 00 00 00 10 00 01 02"));
    assert_eq!(
        step.fault,
        Some(SegmentFault::TooLong {
            length: 4096,
            limit: 4095
        })
    );
    assert_eq!(
        joiner.take(&hex("21 01 02 03 04 05 06 07")),
        Step::default()
    );
}

#[test]
fn identifiers_are_joined_apart() {
    let (mut channels, frames) = (Channels::default(), twenty());
    for frame in &frames[..2] {
        assert_eq!(channels.take(0x7E8, frame), Step::default());
        assert_eq!(channels.take(0x7E9, frame), Step::default());
    }
    assert_eq!(channels.take(0x7E8, &hex("30 00 00")), Step::default());
    assert!(channels.take(0x7E9, &frames[2]).message.is_some());
    assert_eq!(
        channels.finish(),
        [(
            0x7E8,
            SegmentFault::Unfinished {
                have: 13,
                length: 20
            }
        )]
    );
    let steps: Vec<Step> = (0..5000)
        .map(|identifier| channels.take(identifier, &frames[0]))
        .collect();
    let refused = |step: &&Step| step.fault == Some(SegmentFault::TooManyChannels);
    assert_eq!(steps.iter().filter(refused).count(), 5000 - 4096);
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

/// Announcement quoted in a public source: 257 bytes in 37 packets of group 1FF03.
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

/// `04 FF 64 00 01 01 FF FF` is SPN 100 FMI 1 in a public sample; no code is 00 (or, in older units, FF).
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
    fn messages_round_trip_through_frames(message in proptest::collection::vec(any::<u8>(), 1..4096)) {
        let mut joiner = Joiner::default();
        let steps: Vec<Step> = split(&message).unwrap().iter().map(|frame| joiner.take(frame)).collect();
        let (last, before) = steps.split_last().unwrap();
        prop_assert!(before.iter().all(|step| *step == Step::default()));
        prop_assert_eq!(last, &Step { message: Some(message), fault: None });
    }

    /// Without any one frame, or with it twice, the message is never given out.
    #[test]
    fn no_message_is_put_together_from_what_is_left(
        message in proptest::collection::vec(any::<u8>(), 8..200), at: prop::sample::Index, twice: bool,
    ) {
        let mut frames = split(&message).unwrap();
        let at = at.index(frames.len());
        if twice { frames.insert(at, frames[at]) } else { frames.remove(at); }
        let mut joiner = Joiner::default();
        let steps: Vec<Step> = frames.iter().map(|frame| joiner.take(frame)).collect();
        let faults = steps.iter().filter(|step| step.fault.is_some()).count() + usize::from(joiner.finish().is_some());
        let whole = steps.iter().filter_map(|step| step.message.as_ref());
        // A first frame sent twice begins the same message again, and one sent twice at the end comes late.
        let begins_again = twice && (at == 0 || at == frames.len() - 2);
        prop_assert_eq!(whole.count(), usize::from(begins_again));
        prop_assert_eq!(faults, 1);
    }

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
    fn any_frames_are_joined_or_refused(
        frames in proptest::collection::vec(
            (prop_oneof![Just(0x1CEC_FF00u32), Just(0x1CEB_FF00), Just(0x18FE_CA00), any::<u32>()],
             proptest::collection::vec(prop_oneof![Just(0x10u8), Just(0x20), Just(0x21), Just(0x01), any::<u8>()], 0..70)),
            0..60,
        ),
    ) {
        let (mut channels, mut packets, mut joiner) = (Channels::default(), PacketJoiner::default(), Joiner::default());
        let taken: usize = frames.iter().map(|(_, frame)| frame.len()).sum();
        let (mut segmented, mut alone, mut packed) = (0, 0, 0);
        for (identifier, frame) in &frames {
            let length = |message: Option<Vec<u8>>| message.map_or(0, |data| data.len());
            segmented += length(channels.take(*identifier, frame).message);
            alone += length(joiner.take(frame).message);
            packed += length(packets.take(*identifier, frame).message.map(|message| message.data));
            let _ = read_active_codes(frame, Layout::Version1);
        }
        prop_assert!(segmented <= taken && alone <= taken && packed <= taken);
        prop_assert!(channels.finish().len() <= frames.len() && packets.finish().len() <= frames.len());
    }
}
