//! Date codes, ISO weeks and battery age.

use chrono::{Datelike, NaiveDate};
use proptest::prelude::*;
use voltwane::trade::calendar::{AgeEvidence, Week, battery_age};
use voltwane::trade::date_code::{
    DateCodeError, DateCodeForm, DatePattern, MadeBetween, read_date_code,
};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn between(earliest: &str, latest: &str) -> MadeBetween {
    MadeBetween {
        earliest: day(earliest),
        latest: day(latest),
    }
}

/// Letters as the trade stamps them (from memory): A January to M December without I, so B9 is
/// February 1999 and L2 November 2012. The decade is settled by the day of the test.
#[test]
fn letter_and_digit() {
    for (code, seen_on, earliest, latest) in [
        ("B9", "2001-05-01", "1999-02-01", "1999-02-28"),
        ("B9", "2026-05-01", "2019-02-01", "2019-02-28"),
        ("L2", "2015-01-01", "2012-11-01", "2012-11-30"),
        ("A0", "2026-05-01", "2020-01-01", "2020-01-31"),
        ("H4", "2026-05-01", "2024-08-01", "2024-08-31"),
        ("J4", "2026-05-01", "2024-09-01", "2024-09-30"),
        ("M5", "2026-05-01", "2025-12-01", "2025-12-31"),
        ("F6", "2026-06-01", "2026-06-01", "2026-06-30"),
        ("F6", "2026-05-31", "2016-06-01", "2016-06-30"),
        (" b-9 ", "2026-05-01", "2019-02-01", "2019-02-28"),
    ] {
        let made = read_date_code(code, &DateCodeForm::LetterDigit, day(seen_on));
        assert_eq!(made, Ok(between(earliest, latest)), "{code} seen {seen_on}");
    }
}

#[test]
fn other_forms_only_when_asked_for() {
    let seen_on = day("2026-05-01");
    for (code, form, earliest) in [
        ("I4", DateCodeForm::LetterDigitWithI, "2024-09-01"),
        ("L4", DateCodeForm::LetterDigitWithI, "2024-12-01"),
        ("9B", DateCodeForm::DigitLetter, "2019-02-01"),
        ("A17", DateCodeForm::LetterTwoDigits, "2017-01-01"),
        ("A98", DateCodeForm::LetterTwoDigits, "1998-01-01"),
    ] {
        assert_eq!(
            read_date_code(code, &form, seen_on).unwrap().earliest,
            day(earliest),
            "{code}"
        );
        assert!(
            read_date_code(code, &DateCodeForm::LetterDigit, seen_on).is_err() || code == "L4",
            "{code}"
        );
    }
}

#[test]
fn wrong_codes_are_refused() {
    let read = |code: &str, form: &DateCodeForm| read_date_code(code, form, day("2026-05-01"));
    for code in ["", "9", "B", "BB", "B99", "9B", "B9X", "é9", "12/2024"] {
        assert!(
            matches!(
                read(code, &DateCodeForm::LetterDigit),
                Err(DateCodeError::Form { .. })
            ),
            "{code}"
        );
    }
    for code in ["I4", "N4", "Z9"] {
        let letter = code.chars().next().unwrap();
        assert_eq!(
            read(code, &DateCodeForm::LetterDigit),
            Err(DateCodeError::Month {
                code: code.into(),
                letter
            })
        );
    }
    assert_eq!(
        read("9I", &DateCodeForm::DigitLetter),
        Err(DateCodeError::Month {
            code: "9I".into(),
            letter: 'I'
        })
    );
}

#[test]
fn a_users_pattern() {
    let read = |pattern: &str, code: &str| {
        read_date_code(
            code,
            &DateCodeForm::Pattern(DatePattern::new(pattern).unwrap()),
            day("2026-05-01"),
        )
    };
    assert_eq!(
        read(r"^(?<week>\d{2})/(?<year>\d{2})$", "07/24"),
        Ok(between("2024-02-12", "2024-02-18"))
    );
    assert_eq!(
        read(
            r"^(?<year>\d{4})-(?<month>\d{1,2})-(?<day>\d{1,2})",
            "2024-2-29"
        ),
        Ok(between("2024-02-29", "2024-02-29"))
    );
    assert_eq!(
        read(r"^X(?<day_of_year>\d{3})(?<year>\d)$", "x0604"),
        Ok(between("2024-02-29", "2024-02-29"))
    );
    assert_eq!(
        read(r"(?<month_letter>[a-m])(?<year>\d\d)$", "Lot 5 C22"),
        Ok(between("2022-03-01", "2022-03-31"))
    );
    assert_eq!(
        read(r"^(?<year>\d\d)", "22"),
        Ok(between("2022-01-01", "2022-12-31"))
    );
    // No 366th day in 2025 nor, ten years before, in 2015.
    assert!(matches!(
        read(r"(?<day_of_year>\d{3})(?<year>\d)", "3665"),
        Err(DateCodeError::Part { .. })
    ));
    assert!(matches!(
        read(r"^(?<year>\d{4})", "2031"),
        Err(DateCodeError::Future { .. })
    ));
    assert!(matches!(
        read(r"^(?<year>\d{3})", "203"),
        Err(DateCodeError::Part { .. })
    ));
    assert!(matches!(
        read(r"^(?<year>\d{2})$", "B9"),
        Err(DateCodeError::NoMatch { .. })
    ));
    for (pattern, what) in [
        (r"(\d", "cannot be used"),
        (r"\d", "named year"),
        (r"(?<year>\d)(?<shift>\d)", "'shift'"),
    ] {
        let message = DatePattern::new(pattern).unwrap_err().to_string();
        assert!(message.contains(what), "{message}");
    }
}

/// ISO 8601: weeks begin on Monday and week 1 holds the year's first Thursday. Days around New Year
/// were checked with Python's datetime.isocalendar.
#[test]
fn iso_weeks() {
    for (date, week) in [
        ("2026-02-09", "2026-W07"),
        ("2026-02-15", "2026-W07"),
        ("2026-02-16", "2026-W08"),
        ("2026-01-01", "2026-W01"),
        ("2025-12-29", "2026-W01"),
        ("2024-12-30", "2025-W01"),
        ("2021-01-03", "2020-W53"),
        ("2027-01-03", "2026-W53"),
        ("2023-01-01", "2022-W52"),
        ("2000-02-29", "2000-W09"),
    ] {
        assert_eq!(Week::of(day(date)).to_string(), week, "{date}");
        let parsed = Week::parse(week).unwrap();
        assert!((parsed.monday()..=parsed.sunday()).contains(&day(date)));
    }
    let week = Week::parse("2026-W07").unwrap();
    assert_eq!((week.year(), week.number()), (2026, 7));
    assert_eq!(
        (week.monday(), week.sunday()),
        (day("2026-02-09"), day("2026-02-15"))
    );
    assert_eq!(week.later(46).unwrap().to_string(), "2026-W53");
    assert_eq!(week.later(-7).unwrap().to_string(), "2025-W52");
    assert_eq!(week.later(i64::MAX), None);
    assert_eq!(Week::parse(" 2026w07 "), Ok(week));
    for text in [
        "",
        "2026",
        "2026-07",
        "2026-W7",
        "2025-W53",
        "2026-W00",
        "26-W07",
        "+026-W07",
        "2026-W0７",
        "2026-W07-1",
    ] {
        assert!(Week::parse(text).is_err(), "{text}");
    }
}

#[test]
fn age_by_the_best_evidence() {
    use AgeEvidence::{Fitted, Made, Seen, VehicleInService};
    let on = day("2026-06-28");
    let fitted = Fitted(day("2024-06-28"));
    let made = Made(between("2024-04-01", "2024-04-30"));
    let in_service = VehicleInService(day("2020-06-28"));
    let seen = Seen(day("2025-06-28"));

    let age = battery_age(&[in_service, made, fitted, seen], on).unwrap();
    assert_eq!((age.age_days, age.evidence), (730.0, fitted));
    assert!(age.sigma_days < 5.0 && !age.is_least());

    // 818 days since the first of April; made in the middle of the month, then 75 days on the shelf.
    let age = battery_age(&[in_service, made, seen], on).unwrap();
    assert_eq!((age.age_days, age.evidence), (818.0 - 14.5 - 75.0, made));
    assert!((45.0..60.0).contains(&age.sigma_days));

    let age = battery_age(&[in_service, seen], on).unwrap();
    assert_eq!((age.age_days, age.evidence), (2191.0, in_service));
    assert!(age.sigma_days > 365.0);

    let age = battery_age(&[seen], on).unwrap();
    assert!(age.is_least() && age.age_days == 365.0);
    assert_eq!(battery_age(&[], on), None);
    assert_eq!(
        battery_age(&[Fitted(day("2026-06-29"))], on),
        None,
        "evidence from the future"
    );
}

#[test]
fn evidence_that_is_about_another_battery_is_left_out() {
    use AgeEvidence::{Fitted, Made, Seen};
    let on = day("2026-06-28");
    let made = Made(between("2024-04-01", "2024-04-30"));
    let age = battery_age(&[Fitted(day("2021-01-01")), made], on).unwrap();
    assert_eq!(age.evidence, made, "fitted before this battery was made");
    // Seen a week after it was made: it did not stand on a shelf.
    let age = battery_age(&[made, Seen(day("2024-05-03"))], on).unwrap();
    assert_eq!(age.age_days, 786.0);
}

fn any_day() -> impl Strategy<Value = NaiveDate> {
    (1980i32..2080, 1u32..=365)
        .prop_map(|(year, ordinal)| NaiveDate::from_yo_opt(year, ordinal).unwrap())
}

proptest! {
    #[test]
    fn weeks_round_trip(date in any_day()) {
        let week = Week::of(date);
        prop_assert_eq!(Week::parse(&week.to_string()), Ok(week));
        prop_assert!(week.monday() <= date && date <= week.sunday());
        prop_assert_eq!(week.later(1).unwrap().later(-1), Some(week));
    }

    /// A battery was made no more than ten years before it was seen, and not after.
    #[test]
    fn the_decade_is_the_latest_possible(letter in "[A-HJ-M]", digit in 0u32..10, seen_on in any_day()) {
        let made = read_date_code(&format!("{letter}{digit}"), &DateCodeForm::LetterDigit, seen_on).unwrap();
        prop_assert!(made.earliest <= seen_on);
        prop_assert!((seen_on - made.earliest).num_days() < 3653 + 31);
        prop_assert_eq!(made.earliest.year().rem_euclid(10), digit as i32);
    }

    #[test]
    fn any_text_is_read_or_refused(text in ".{0,20}", seen_on in any_day()) {
        for form in [DateCodeForm::LetterDigit, DateCodeForm::DigitLetter, DateCodeForm::LetterTwoDigits] {
            if let Ok(made) = read_date_code(&text, &form, seen_on) {
                prop_assert!(made.earliest <= made.latest && made.earliest <= seen_on);
            }
        }
        if let Ok(week) = Week::parse(&text) {
            prop_assert_eq!(Week::of(week.monday()), week);
        }
        let _ = DatePattern::new(&text);
    }

    #[test]
    fn no_age_is_negative(days in proptest::collection::vec((0u8..4, any_day(), 0u64..400), 0..6), on in any_day()) {
        let evidence: Vec<AgeEvidence> = days
            .into_iter()
            .map(|(kind, date, span)| match kind {
                0 => AgeEvidence::Fitted(date),
                1 => AgeEvidence::Made(MadeBetween { earliest: date, latest: date + chrono::Days::new(span) }),
                2 => AgeEvidence::VehicleInService(date),
                _ => AgeEvidence::Seen(date),
            })
            .collect();
        if let Some(age) = battery_age(&evidence, on) {
            prop_assert!(age.age_days >= 0.0 && age.sigma_days > 0.0, "{age:?}");
        }
    }
}
