//! VINs good and bad, check digits and model years.

use proptest::prelude::*;
use voltwane::trade::vin::{CheckDigit, Vin, VinError, make_check_digit};

/// Check digit rule: 49 CFR 565.15(c), Tables III to VI. `true`: the check digit agrees.
/// The first two VINs are published (the sample in 49 CFR 565 Table V, and the widely printed
/// example); the others are invented and their digits were computed apart from this program.
const WELL_FORMED: &[(&str, bool)] = &[
    ("1G4AH59H45G118341", true),
    ("1M8GDM9AXKP042788", true),
    ("5YV4K2E71LM100007", true),
    ("1M8GDM9A1KP042788", false),
    ("SYV4K2E71LM100007", false),
    ("9ZV4K2E76LM100001", true),
    ("9ZV4K2E78LM100002", true),
    ("9ZV4K2E7XLM100003", true),
    ("8YW7T3R96PB200417", true),
    ("8YW7T3R95PB200418", false),
    ("WZZ00000100000001", false),
    ("VXX12345678901234", false),
];

#[test]
fn check_digit_follows_49_cfr_565() {
    for (text, agrees) in WELL_FORMED {
        let vin = Vin::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(vin.check_digit() == CheckDigit::Agrees, *agrees, "{text}");
        assert_eq!(
            make_check_digit(text) == text.chars().nth(8),
            *agrees,
            "{text}"
        );
    }
}

#[test]
fn a_wrong_check_digit_is_a_fault_only_in_north_america() {
    let misread = Vin::parse("1M8GDM9A1KP042788").unwrap();
    assert_eq!(
        misread.check_digit(),
        CheckDigit::Wrong {
            found: '1',
            expected: 'X'
        }
    );
    // Regions of ISO 3780 (from memory); a 3 is right for none of these.
    for (firsts, bound) in [("123457", true), ("689ABCJLSVWZ", false)] {
        for first in firsts.chars() {
            let vin = Vin::parse(&format!("{first}YV4K2E73LM100402")).unwrap();
            let is_wrong = matches!(vin.check_digit(), CheckDigit::Wrong { .. });
            assert_eq!(is_wrong, bound, "{vin}");
        }
    }
    let from_elsewhere = Vin::parse("SYV4K2E71LM100007").unwrap();
    assert_eq!(
        from_elsewhere.check_digit(),
        CheckDigit::DoesNotApply {
            found: '1',
            expected: 'X'
        }
    );
}

/// Form: ISO 3779 (seventeen characters, no I, O, Q).
#[test]
fn malformed_texts_are_refused_with_the_place_and_the_reason() {
    let lengths = [
        ("", 0),
        ("1M8GDM9AXKP04278", 16),
        ("1M8GDM9AXKP0427888", 18),
        ("UNKNOWN", 7),
        ("N/A", 3),
        ("1M8GDM9AXKP0O278", 16),
    ];
    for (text, found) in lengths {
        assert_eq!(
            Vin::parse(text),
            Err(VinError::Length {
                vin: text.into(),
                found
            }),
            "{text}"
        );
    }
    let characters = [
        ("IM8GDM9AXKP042788", 'I', 1),
        ("1M8GDM9AXKP0427O8", 'O', 16),
        ("1M8GDM9AXKPQ42788", 'Q', 12),
        ("1m8gdm9axkpo42788", 'o', 12),
        ("1M8GDM9AXKP04278_", '_', 17),
        ("1M8GDM9AXKP04278É", 'É', 17),
        ("1M8GDM9A.KP042788", '.', 9),
        ("?M8GDM9AXKP042788", '?', 1),
    ];
    for (text, expected, at) in characters {
        match Vin::parse(text) {
            Err(VinError::Character {
                character,
                position,
                ..
            }) => {
                assert_eq!((character, position), (expected, at), "{text}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
    for text in [
        "00000000000000000",
        "11111111111111111",
        "XXXXXXXXXXXXXXXXX",
        "99999999999999999",
    ] {
        assert_eq!(
            Vin::parse(text),
            Err(VinError::AllSame { vin: text.into() })
        );
    }
}

#[test]
fn label_marks_and_case_do_not_count() {
    let vin = Vin::parse("1M8GDM9AXKP042788").unwrap();
    for text in [
        "1m8gdm9axkp042788",
        " 1M8GDM9AXKP042788\t",
        "*1M8GDM9AXKP042788*",
        "1M8-GDM9AX-KP 042788",
    ] {
        assert_eq!(Vin::parse(text), Ok(vin), "{text}");
    }
}

/// 49 CFR 565.15 Table VII (letters from memory, the thirty-year repeat and the rule of position 7
/// from 73 FR 23367).
#[test]
fn model_year_by_position_ten() {
    let table = [
        ('A', 1980),
        ('H', 1987),
        ('J', 1988),
        ('N', 1992),
        ('P', 1993),
        ('R', 1994),
        ('S', 1995),
        ('T', 1996),
        ('V', 1997),
        ('W', 1998),
        ('X', 1999),
        ('Y', 2000),
        ('1', 2001),
        ('9', 2009),
    ];
    for (code, early) in table {
        let text: String = "1M8GDM9AXKP042788"
            .chars()
            .enumerate()
            .map(|(i, c)| if i == 9 { code } else { c })
            .collect();
        assert_eq!(
            Vin::parse(&text).unwrap().model_years(),
            Some((early, early + 30)),
            "{code}"
        );
    }
    for code in ['U', 'Z', '0'] {
        let text: String = "1M8GDM9AXKP042788"
            .chars()
            .enumerate()
            .map(|(i, c)| if i == 9 { code } else { c })
            .collect();
        assert_eq!(Vin::parse(&text).unwrap().model_years(), None, "{code}");
    }
}

#[test]
fn model_year_cycle_by_position_seven_or_the_latest_year() {
    let digit_at_seven = Vin::parse("1M8GDM9AXKP042788").unwrap();
    assert_eq!(digit_at_seven.model_year(2026, true), Some(1989));
    assert_eq!(
        digit_at_seven.model_year(2026, false),
        Some(2019),
        "a heavy vehicle may use either cycle"
    );
    assert_eq!(digit_at_seven.model_year(2010, false), Some(1989));
    assert_eq!(digit_at_seven.model_year(2019, false), Some(2019));
    let letter_at_seven = Vin::parse("1M8GDMCAXKP042788").unwrap();
    assert_eq!(letter_at_seven.model_year(2026, true), Some(2019));
    assert_eq!(
        letter_at_seven.model_year(2010, true),
        None,
        "2019 lies in the future of 2010"
    );
}

proptest! {
    #[test]
    fn the_digit_that_is_made_agrees(text in "[A-HJ-NPR-Z0-9]{17}") {
        let digit = make_check_digit(&text).unwrap();
        let completed = format!("{}{digit}{}", &text[..8], &text[9..]);
        if let Ok(vin) = Vin::parse(&completed) {
            prop_assert_eq!(vin.check_digit(), CheckDigit::Agrees);
            prop_assert_eq!(vin.as_str(), completed);
        }
    }

    /// The weights are prime to 11, so the sum notices any one character whose value changed.
    #[test]
    fn one_misread_digit_is_noticed(text in "[A-HJ-NPR-Z0-9]{8}0[0-9]{8}", at in 9usize..17, off_by in 1u8..10) {
        let before = make_check_digit(&text).unwrap();
        let mut bytes = text.clone().into_bytes();
        bytes[at] = b'0' + (bytes[at] - b'0' + off_by) % 10;
        let after = make_check_digit(std::str::from_utf8(&bytes).unwrap()).unwrap();
        prop_assert_ne!(before, after);
    }

    #[test]
    fn any_text_is_read_or_refused(text in ".{0,60}") {
        if let Ok(vin) = Vin::parse(&text) {
            prop_assert_eq!(Vin::parse(vin.as_str()), Ok(vin));
            let _ = vin.model_year(2026, true);
        }
        let _ = make_check_digit(&text);
    }
}
