//! Trouble codes: text and bytes, failure types, status bits, heavy vehicles.

use proptest::prelude::*;
use voltwane::trade::heavy_code::{Code, HeavyCode};
use voltwane::trade::trouble_code::{CodeError, Origin, Status, System, TroubleCode, TypedCode};

/// Encodings by SAE J2012 / ISO 15031-6: bits 15-14 the letter (00 P, 01 C, 10 B, 11 U), 13-12 the
/// first digit, then three hex digits. The codes are common ones and
/// the ends of the standard's ranges; the bytes were computed apart from this program.
const ENCODINGS: &[(&str, [u8; 2])] = &[
    ("P0001", [0x00, 0x01]),
    ("P0010", [0x00, 0x10]),
    ("P0101", [0x01, 0x01]),
    ("P0128", [0x01, 0x28]),
    ("P0133", [0x01, 0x33]),
    ("P0171", [0x01, 0x71]),
    ("P0201", [0x02, 0x01]),
    ("P0300", [0x03, 0x00]),
    ("P0301", [0x03, 0x01]),
    ("P0335", [0x03, 0x35]),
    ("P0340", [0x03, 0x40]),
    ("P0401", [0x04, 0x01]),
    ("P0420", [0x04, 0x20]),
    ("P0442", [0x04, 0x42]),
    ("P0455", [0x04, 0x55]),
    ("P0500", [0x05, 0x00]),
    ("P0505", [0x05, 0x05]),
    ("P0560", [0x05, 0x60]),
    ("P0561", [0x05, 0x61]),
    ("P0562", [0x05, 0x62]),
    ("P0563", [0x05, 0x63]),
    ("P0600", [0x06, 0x00]),
    ("P0601", [0x06, 0x01]),
    ("P0606", [0x06, 0x06]),
    ("P0620", [0x06, 0x20]),
    ("P0621", [0x06, 0x21]),
    ("P0622", [0x06, 0x22]),
    ("P0625", [0x06, 0x25]),
    ("P0626", [0x06, 0x26]),
    ("P065B", [0x06, 0x5B]),
    ("P0685", [0x06, 0x85]),
    ("P0700", [0x07, 0x00]),
    ("P0805", [0x08, 0x05]),
    ("P0A0F", [0x0A, 0x0F]),
    ("P0A7F", [0x0A, 0x7F]),
    ("P0A80", [0x0A, 0x80]),
    ("P0A8B", [0x0A, 0x8B]),
    ("P0A8D", [0x0A, 0x8D]),
    ("P0A8E", [0x0A, 0x8E]),
    ("P0A9B", [0x0A, 0x9B]),
    ("P1000", [0x10, 0x00]),
    ("P1AFF", [0x1A, 0xFF]),
    ("P2002", [0x20, 0x02]),
    ("P2096", [0x20, 0x96]),
    ("P2503", [0x25, 0x03]),
    ("P2504", [0x25, 0x04]),
    ("P2522", [0x25, 0x22]),
    ("P3000", [0x30, 0x00]),
    ("P3400", [0x34, 0x00]),
    ("P3FFF", [0x3F, 0xFF]),
    ("C0035", [0x40, 0x35]),
    ("C0040", [0x40, 0x40]),
    ("C0051", [0x40, 0x51]),
    ("C0300", [0x43, 0x00]),
    ("C1234", [0x52, 0x34]),
    ("C2FFF", [0x6F, 0xFF]),
    ("C3000", [0x70, 0x00]),
    ("B0001", [0x80, 0x01]),
    ("B0051", [0x80, 0x51]),
    ("B1000", [0x90, 0x00]),
    ("B1318", [0x93, 0x18]),
    ("B2FFF", [0xAF, 0xFF]),
    ("B3FFF", [0xBF, 0xFF]),
    ("U0001", [0xC0, 0x01]),
    ("U0073", [0xC0, 0x73]),
    ("U0100", [0xC1, 0x00]),
    ("U0101", [0xC1, 0x01]),
    ("U0120", [0xC1, 0x20]),
    ("U0121", [0xC1, 0x21]),
    ("U0122", [0xC1, 0x22]),
    ("U0126", [0xC1, 0x26]),
    ("U0140", [0xC1, 0x40]),
    ("U0142", [0xC1, 0x42]),
    ("U0151", [0xC1, 0x51]),
    ("U0155", [0xC1, 0x55]),
    ("U0158", [0xC1, 0x58]),
    ("U0300", [0xC3, 0x00]),
    ("U0401", [0xC4, 0x01]),
    ("U0415", [0xC4, 0x15]),
    ("U1000", [0xD0, 0x00]),
    ("U3000", [0xF0, 0x00]),
    ("U3003", [0xF0, 0x03]),
    ("U3006", [0xF0, 0x06]),
    ("U3FFF", [0xFF, 0xFF]),
];

#[test]
fn text_and_bytes_of_a_code() {
    for (text, bytes) in ENCODINGS {
        let code = TroubleCode::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(code.to_bytes(), *bytes, "{text}");
        assert_eq!(TroubleCode::from_bytes(*bytes), Some(code), "{text}");
        assert_eq!(code.to_string(), *text);
        assert_eq!(code.system().letter(), text.chars().next().unwrap());
    }
}

#[test]
fn zero_bytes_are_padding_and_no_code() {
    assert_eq!(TroubleCode::from_bytes([0, 0]), None);
    assert_eq!(TypedCode::from_bytes([0, 0, 0x16]), None);
    assert_eq!(
        TroubleCode::parse("P0000"),
        Err(CodeError::NoCode {
            code: "P0000".into()
        })
    );
}

#[test]
fn hex_digits_of_a_code_are_not_read_as_decimal() {
    assert_eq!(
        TroubleCode::parse("p0a8d").unwrap().to_bytes(),
        [0x0A, 0x8D]
    );
    assert_eq!(TroubleCode::parse(" P0A8D ").unwrap().to_string(), "P0A8D");
}

#[test]
fn wrong_texts_are_refused_with_the_place() {
    let place = |text: &str| match TroubleCode::parse(text) {
        Err(CodeError::Character { position, .. }) => Some(position),
        Err(CodeError::Length { .. }) => None,
        other => panic!("{text}: {other:?}"),
    };
    for (text, position) in [
        ("X0562", Some(1)),
        ("P4562", Some(2)),
        ("PO562", Some(2)),
        ("P0G62", Some(3)),
        ("P056Z", Some(5)),
        ("P05É2", Some(4)),
        ("", None),
        ("P056", None),
        ("P05620", None),
        ("no codes", None),
    ] {
        assert_eq!(place(text), position, "{text}");
    }
}

/// Ranges of SAE J2012 (from memory).
#[test]
fn standard_or_maker_range() {
    for (text, origin) in [
        ("P0562", Origin::Standard),
        ("P1000", Origin::Maker),
        ("P2503", Origin::Standard),
        ("P33FF", Origin::Maker),
        ("P3400", Origin::Standard),
        ("P39FF", Origin::Standard),
        ("P3A00", Origin::Reserved),
        ("C0035", Origin::Standard),
        ("C1234", Origin::Maker),
        ("C2FFF", Origin::Maker),
        ("C3000", Origin::Reserved),
        ("B0001", Origin::Standard),
        ("B1318", Origin::Maker),
        ("B3FFF", Origin::Reserved),
        ("U0100", Origin::Standard),
        ("U1000", Origin::Maker),
        ("U3003", Origin::Standard),
    ] {
        assert_eq!(TroubleCode::parse(text).unwrap().origin(), origin, "{text}");
    }
    assert_eq!(
        TroubleCode::parse("U3003").unwrap().system(),
        System::Network
    );
}

/// Three-byte codes of the worked examples in ISO 14229-1, clause 11.3.5, as quoted in public.
#[test]
fn three_byte_codes() {
    for (text, bytes) in [
        ("P0A9B-17", [0x0A, 0x9B, 0x17]),
        ("P2522-1F", [0x25, 0x22, 0x1F]),
        ("P0805-11", [0x08, 0x05, 0x11]),
    ] {
        let code = TypedCode::parse(text).unwrap();
        assert_eq!(code.to_bytes(), bytes);
        assert_eq!(TypedCode::from_bytes(bytes), Some(code));
        assert_eq!(code.to_string(), text);
        for variant in [
            text.replace('-', ":"),
            text.replace('-', " "),
            text.replace('-', ""),
            text.to_lowercase(),
        ] {
            assert_eq!(TypedCode::parse(&variant), Ok(code), "{variant}");
        }
    }
    for (text, what) in [
        ("P0A9B", "ends"),
        ("P0A9B-1", "ends"),
        ("P0A9B-1G", "position 8"),
        ("P0A9B-177", "position 9"),
    ] {
        let message = TypedCode::parse(text).unwrap_err().to_string();
        assert!(message.contains(what), "{text}: {message}");
    }
}

/// Status bits: ISO 14229-1 Annex D, as printed in public write-ups.
#[test]
fn status_bits() {
    let bits = [
        Status::TEST_FAILED,
        Status::TEST_FAILED_THIS_CYCLE,
        Status::PENDING,
        Status::CONFIRMED,
        Status::NOT_COMPLETED_SINCE_CLEAR,
        Status::FAILED_SINCE_CLEAR,
        Status::NOT_COMPLETED_THIS_CYCLE,
        Status::WARNING_INDICATOR,
    ];
    assert_eq!(bits, [0x01, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40, 0x80]);
    let status = Status(0x24);
    assert!(status.pending() && status.has(Status::FAILED_SINCE_CLEAR));
    assert!(!status.confirmed() && !status.test_failed());
    let status = Status(0x2F);
    assert!(status.pending() && status.confirmed() && status.test_failed());
}

/// The mask example of ISO 14229-1, clause 11.3.5.3: of statuses 24, 00 and 2F, mask 84 on a server
/// without bit 7 finds the first and the third.
#[test]
fn status_mask_is_cut_by_what_the_server_supports() {
    assert!(Status(0x24).answers(0x84, 0x7F));
    assert!(!Status(0x00).answers(0x84, 0x7F));
    assert!(Status(0x2F).answers(0x84, 0x7F));
    assert!(!Status(0x80).answers(0x84, 0x7F));
}

#[test]
fn heavy_codes_are_read_and_written() {
    let code = HeavyCode::new(168, 1).unwrap();
    assert_eq!(code.to_string(), "SPN168/FMI1");
    for text in [
        "SPN168/FMI1",
        "spn 168 fmi 1",
        "SPN 168, FMI 1",
        "SPN:168 / FMI:1",
        "SPN=168-FMI=01",
    ] {
        assert_eq!(Code::parse(text), Ok(Code::Heavy(code)), "{text}");
    }
    assert_eq!(Code::parse("P0562").unwrap().to_string(), "P0562");
    for (text, what) in [
        ("SPN524288/FMI1", "SPN 524288"),
        ("SPN168/FMI32", "FMI 32"),
        ("SPN168", "ends"),
        ("SPN/FMI1", "position 5"),
        ("SPN168/FMI1x", "position 12"),
        ("SPN99999999999999999999/FMI1", "SPN 18446744073709551615"),
    ] {
        let message = Code::parse(text).unwrap_err().to_string();
        assert!(message.contains(what), "{text}: {message}");
    }
    assert_eq!(HeavyCode::new(524_288, 0), None);
    assert_eq!(HeavyCode::new(0, 32), None);
}

proptest! {
    #[test]
    fn two_bytes_round_trip(bytes: [u8; 2]) {
        match TroubleCode::from_bytes(bytes) {
            None => prop_assert_eq!(bytes, [0, 0]),
            Some(code) => {
                prop_assert_eq!(code.to_bytes(), bytes);
                prop_assert_eq!(TroubleCode::parse(&code.to_string()), Ok(code));
            }
        }
    }

    #[test]
    fn three_bytes_round_trip(bytes: [u8; 3]) {
        if let Some(code) = TypedCode::from_bytes(bytes) {
            prop_assert_eq!(code.to_bytes(), bytes);
            prop_assert_eq!(TypedCode::parse(&code.to_string()), Ok(code));
        }
    }

    #[test]
    fn heavy_codes_round_trip(spn in 0u32..=524_287, fmi in 0u8..=31) {
        let code = HeavyCode::new(spn, fmi).unwrap();
        prop_assert_eq!(Code::parse(&code.to_string()), Ok(Code::Heavy(code)));
    }

    #[test]
    fn any_text_is_read_or_refused(text in "(SPN|spn|P0|U|)[ /0-9A-Fa-zé-]{0,12}.{0,20}") {
        if let Ok(code) = Code::parse(&text) {
            prop_assert_eq!(Code::parse(&code.to_string()), Ok(code));
        }
        if let Ok(code) = TypedCode::parse(&text) {
            prop_assert_eq!(TypedCode::parse(&code.to_string()), Ok(code));
        }
    }
}
