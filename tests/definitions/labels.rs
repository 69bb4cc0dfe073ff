//! Size, rating and chemistry of a battery in a place at a time.

use super::{Dumps, Line, Shown, answers, vin};
use crate::workplace::Workplace;

fn replaced<'a>(opened: &'a str, position: &'a str) -> Line<'a> {
    Line {
        opened,
        operation: "battery replaced",
        position,
        complaint: "planned",
        ..Line::default()
    }
}

/// What is known of every battery: vehicle, place, which of the place, and each label with its source.
fn labels(place: &Workplace) -> Vec<String> {
    answers(
        place,
        "2025-06-30",
        "SELECT vin || ' ' || position || ' ' || CAST(battery_no AS VARCHAR) || ': '
             || COALESCE(chemistry, '-') || ' by ' || COALESCE(chemistry_from, '-') || ', '
             || COALESCE(battery_group, '-') || ', ' || COALESCE(CAST(rating_value AS VARCHAR), '-')
             || ' by ' || COALESCE(rating_from, '-') AS answer
         FROM battery_life",
    )
}

#[track_caller]
fn assert_labelled(labels: &[String], number: usize, expected: &str) {
    let expected = format!("{} {expected}", vin(number));
    assert!(
        labels.iter().any(|label| label.starts_with(&expected)),
        "{expected} is not in {labels:#?}"
    );
}

#[test]
fn an_auxiliary_battery_is_not_described_by_the_main_one() {
    let mut dumps = Dumps::new();
    let main = Shown {
        chemistry: "AGM",
        rating: "760",
        group: "H7",
        ..Shown::default()
    };
    for number in 0..3 {
        dumps.shown(&vin(number), "2025-06-01", main);
    }
    // One rating read wrongly once; one test whose label nobody read, which is read against the others'.
    for (at, label) in [
        ("2024-05-04 10:00:00", "320,EN,AGM"),
        ("2024-11-04 10:00:00", "160,EN,AGM"),
        ("2024-12-04 10:00:00", ""),
        ("2025-05-04 10:00:00", "320,EN,AGM"),
    ] {
        dumps.test(&vin(0), "auxiliary", at, 275, label);
    }
    // An auxiliary battery of which nobody read a label, of another model.
    dumps.shown(
        &vin(3),
        "2025-06-01",
        Shown {
            model: "Two",
            ..main
        },
    );
    dumps.test(&vin(3), "auxiliary", "2025-05-04 10:00:00", 275, "");
    let place = dumps.load();
    let labels = labels(&place);
    assert_labelled(&labels, 0, "auxiliary 1: AGM by test, -, 320.0 by test");
    assert_labelled(&labels, 0, "main 1: AGM by register, H7, 760.0 by register");
    assert_labelled(&labels, 3, "auxiliary 1: - by -, -, - by -");
    let read = answers(
        &place,
        "2025-06-30",
        &format!(
            "SELECT CONCAT_WS(' ', verdict, CAST(ROUND(health, 2) AS VARCHAR)) AS answer FROM test_verdict
             WHERE vin = '{}' AND CAST(tested_at AS DATE) = '2024-12-04'",
            vin(0)
        ),
    );
    assert_eq!(read, ["fit 0.86"], "275 A of 320 A, not of 760 A");
}

#[test]
fn a_battery_that_no_record_names_stands_in_its_place_all_the_same() {
    let mut dumps = Dumps::new();
    for number in 0..6 {
        dumps.shown(&vin(number), "2025-06-01", Shown::default());
        dumps.test(&vin(number), "main", "2025-05-04 10:00:00", 560, "");
        if number < 4 {
            dumps.test(
                &vin(number),
                "auxiliary",
                "2025-05-04 10:05:00",
                300,
                "320,EN,AGM",
            );
        }
    }
    // One in three of another model has a second battery: a fitting of its own, not of the model.
    for number in 6..12 {
        let row = Shown {
            model: "Two",
            ..Shown::default()
        };
        dumps.shown(&vin(number), "2025-06-01", row);
        dumps.test(&vin(number), "main", "2025-05-04 10:00:00", 560, "");
        if number < 9 - 1 {
            dumps.test(
                &vin(number),
                "auxiliary",
                "2025-05-04 10:05:00",
                300,
                "320,EN,AGM",
            );
        }
    }
    let place = dumps.load();
    let places = answers(
        &place,
        "2025-06-30",
        "SELECT model || ' ' || place_known_by || ' ' || CAST(COUNT(*) AS VARCHAR) AS answer
         FROM battery_life WHERE position = 'auxiliary' GROUP BY model, place_known_by ORDER BY 1",
    );
    assert_eq!(
        places,
        ["One named 4", "One taken from its model 2", "Two named 2"]
    );
    assert_labelled(
        &labels(&place),
        5,
        "auxiliary 1: AGM by model, -, 320.0 by model",
    );
    let ranked = answers(
        &place,
        "2025-06-30",
        "SELECT position AS answer FROM battery_risk WHERE position = 'auxiliary'",
    );
    assert_eq!(ranked.len(), 8);
}

/// Flooded batteries that failed and were replaced by AGM stay flooded failures.
#[test]
fn an_earlier_battery_is_not_described_by_todays() {
    let mut dumps = Dumps::new();
    let agm = Shown {
        chemistry: "AGM",
        ..Shown::default()
    };
    // The register showed the earlier battery; only tests did; nothing did.
    dumps.shown(&vin(0), "2024-01-01", Shown::default());
    dumps.test(
        &vin(1),
        "main",
        "2024-03-04 10:00:00",
        300,
        "600,EN,flooded",
    );
    for number in 0..3 {
        dumps.shown(&vin(number), "2025-06-01", agm);
        dumps.line(
            &format!("R{number}"),
            &vin(number),
            replaced("2024-08-01 10:00:00", "main"),
        );
    }
    // Of a model that nobody ever saw otherwise, like was replaced by like.
    dumps.shown(
        &vin(3),
        "2025-06-01",
        Shown {
            model: "Two",
            ..agm
        },
    );
    dumps.line("R3", &vin(3), replaced("2024-08-01 10:00:00", "main"));
    let place = dumps.load();
    let labels = labels(&place);
    for (number, first) in [
        (0, "flooded by register"),
        (1, "flooded by test"),
        (2, "- by -"),
        (3, "AGM by model"),
    ] {
        assert_labelled(&labels, number, &format!("main 1: {first},"));
        assert_labelled(&labels, number, "main 2: AGM by register,");
    }
}
