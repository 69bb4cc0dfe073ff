//! Joining the frames of a message: ISO 15765-2.

use proptest::prelude::*;
use voltwane::trade::diagnostics::segments::{
    Channels, FlowStatus, Frame, Joiner, SegmentFault, Step, read_frame, split,
};

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

    /// Any frames: no panic, and never more bytes out than in.
    #[test]
    fn any_frames_are_joined_or_refused(
        frames in proptest::collection::vec(
            (0u32..4, proptest::collection::vec(prop_oneof![Just(0x10u8), Just(0x20), Just(0x21), any::<u8>()], 0..70)),
            0..60,
        ),
    ) {
        let (mut channels, mut joiner) = (Channels::default(), Joiner::default());
        let taken: usize = frames.iter().map(|(_, frame)| frame.len()).sum();
        let (mut apart, mut alone) = (0, 0);
        for (identifier, frame) in &frames {
            let length = |step: Step| step.message.map_or(0, |data| data.len());
            apart += length(channels.take(*identifier, frame));
            alone += length(joiner.take(frame));
        }
        prop_assert!(apart <= taken && alone <= taken);
        prop_assert!(channels.finish().len() <= 4);
    }
}
