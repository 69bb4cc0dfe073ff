//! One replacement, one battery.

use super::{Dumps, Line, Shown, answers, vin};
use crate::workplace::Workplace;

const REPLACED: Line<'_> = Line {
    opened: "",
    closed: "",
    cause: "",
    operation: "battery replaced",
    position: "main",
    complaint: "planned",
};

fn at<'a>(opened: &'a str, closed: &'a str) -> Line<'a> {
    Line {
        opened,
        closed,
        ..REPLACED
    }
}

/// The batteries of vehicle after vehicle, each by the day it went in, its evidence, and how many days
/// that is in doubt.
fn batteries(place: &Workplace, vehicles: usize) -> Vec<Vec<String>> {
    let all = answers(
        place,
        "2025-06-30",
        "SELECT vin || ' ' || CAST(installed_on AS VARCHAR) || ' ' || evidence || ' ' || CAST(uncertainty_days AS VARCHAR) AS answer
         FROM battery_life ORDER BY vin, battery_no",
    );
    let of = |number: usize| {
        let vin = vin(number) + " ";
        let own = all.iter().filter_map(|row| row.strip_prefix(&vin));
        own.map(str::to_owned).collect()
    };
    (0..vehicles).map(of).collect()
}

const FIRST: &str = "2021-01-01 first day on the road 180";

#[test]
fn one_job_on_several_orders_is_one_battery() {
    let mut dumps = Dumps::new();
    for number in 0..7 {
        dumps.shown(&vin(number), "2025-06-01", Shown::default());
    }
    // Exported while open, and again when closed.
    dumps.line("A1", &vin(0), at("2025-03-03 08:00:00", "open"));
    dumps.line(
        "A1",
        &vin(0),
        at("2025-03-03 08:00:00", "2025-03-06 10:00:00"),
    );
    // In the shop's system and, a day later, in the fleet's.
    dumps.line(
        "B1",
        &vin(1),
        at("2025-03-03 08:00:00", "2025-03-03 10:00:00"),
    );
    dumps.line(
        "FS7",
        &vin(1),
        at("2025-03-04 08:00:00", "2025-03-04 10:00:00"),
    );
    // Moved into a new system under a new number.
    dumps.line(
        "C1",
        &vin(2),
        at("2025-03-03 08:00:00", "2025-03-03 10:00:00"),
    );
    dumps.line(
        "MC1",
        &vin(2),
        at("2025-03-03 08:00:00", "2025-03-03 10:00:00"),
    );
    // Dated some days apart.
    dumps.line("D1", &vin(3), at("2025-03-03 08:00:00", ""));
    dumps.line("D2", &vin(3), at("2025-03-12 08:00:00", ""));
    // The new battery failed within the fortnight: two batteries.
    dumps.line("E1", &vin(4), at("2025-03-03 08:00:00", ""));
    for operation in ["no-start call", "battery replaced"] {
        dumps.line(
            "E2",
            &vin(4),
            Line {
                cause: "supply",
                complaint: "will not start",
                operation,
                ..at("2025-03-12 08:00:00", "")
            },
        );
    }
    // Two months apart: two batteries.
    dumps.line("F1", &vin(5), at("2025-03-03 08:00:00", ""));
    dumps.line("F2", &vin(5), at("2025-05-05 08:00:00", ""));
    let place = dumps.load();
    let expected: [&[&str]; 7] = [
        &[FIRST, "2025-03-06 work order 1"],
        &[FIRST, "2025-03-03 work order 2"],
        &[FIRST, "2025-03-03 work order 1"],
        &[FIRST, "2025-03-03 work order 10"],
        &[FIRST, "2025-03-03 work order 1", "2025-03-12 work order 1"],
        &[FIRST, "2025-03-03 work order 1", "2025-05-05 work order 1"],
        &[FIRST],
    ];
    assert_eq!(batteries(&place, expected.len()), expected);
    let found = place.run_expecting(1, &["check", "--lake", "lake"]);
    for finding in [
        "one battery change on two orders",
        "one order under two numbers",
    ] {
        assert!(found.contains(finding), "{found}");
    }
}

#[test]
fn a_day_the_register_corrects_is_no_second_battery() {
    let mut dumps = Dumps::new();
    let mut told = |number: usize, days: &[(&str, &str)]| {
        for (seen_on, battery_since) in days {
            let row = Shown {
                battery_since,
                ..Shown::default()
            };
            dumps.shown(&vin(number), seen_on, row);
        }
    };
    // Corrected to an earlier day, to a later one, and by years.
    told(
        0,
        &[("2024-01-01", "2023-11-20"), ("2024-04-01", "2023-11-02")],
    );
    told(
        1,
        &[("2024-01-01", "2023-09-20"), ("2024-04-01", "2023-11-20")],
    );
    told(
        2,
        &[("2024-01-01", "2023-11-20"), ("2024-04-01", "2022-11-20")],
    );
    // Seventy days off the order it is of.
    told(
        3,
        &[("2025-04-01", "2024-12-24"), ("2025-06-01", "2025-03-04")],
    );
    // Two batteries that the register saw one after the other.
    told(
        4,
        &[("2023-01-01", "2022-11-20"), ("2024-04-01", "2024-02-20")],
    );
    // The battery the vehicle came with.
    told(5, &[("2024-01-01", "2021-02-20")]);
    dumps.line("G3", &vin(3), at("2025-03-04 08:00:00", ""));
    let place = dumps.load();
    let expected: [&[&str]; 6] = [
        &[FIRST, "2023-11-02 register 7"],
        &[FIRST, "2023-11-20 register 7"],
        &[FIRST, "2022-11-20 register 7"],
        &[FIRST, "2025-03-04 work order 1"],
        &[FIRST, "2022-11-20 register 7", "2024-02-20 register 7"],
        &["2021-02-20 register 7"],
    ];
    assert_eq!(batteries(&place, expected.len()), expected);
}

#[test]
fn a_date_code_is_of_the_battery_it_is_on() {
    let mut dumps = Dumps::new();
    for number in 0..3 {
        dumps.shown(&vin(number), "2025-06-01", Shown::default());
    }
    let mut coded = |number: usize, day: &str, code: &str| {
        dumps.tests.push_str(&format!(
            "{},main,{day} 09:00:00,12.7,560,CCA EN,,,,{code}\n",
            vin(number)
        ));
    };
    // Read on the new battery on the day before the order that carries a day alone.
    coded(0, "2025-03-03", "A5");
    // Read year after year on a battery of 2023: that one, with another before it.
    coded(1, "2024-03-03", "C3");
    coded(1, "2024-09-03", "C3");
    // Misread once.
    coded(2, "2024-03-03", "C1");
    coded(2, "2024-09-03", "C1");
    coded(2, "2024-10-03", "C3");
    dumps.line("H0", &vin(0), at("2025-03-04 00:00:00", ""));
    dumps.line("H1", &vin(1), at("2025-03-04 08:00:00", ""));
    let place = dumps.load();
    let expected: [&[&str]; 3] = [
        &[FIRST, "2025-03-04 work order 1"],
        &["2023-04-15 date code 45", "2025-03-04 work order 1"],
        &["2021-01-01 first day on the road 30"],
    ];
    assert_eq!(batteries(&place, expected.len()), expected);
}

/// An order that names no place, in a vehicle with two: the register tells which one it was of.
#[test]
fn an_order_without_a_place_is_of_the_battery_the_register_saw_change() {
    let mut dumps = Dumps::new();
    for (number, since) in [(0, "2025-01-20"), (1, "2023-02-03"), (2, "2023-02-03")] {
        for (seen_on, battery_since) in [("2025-01-01", "2023-02-03"), ("2025-04-01", since)] {
            let row = Shown {
                battery_since,
                ..Shown::default()
            };
            dumps.shown(&vin(number), seen_on, row);
        }
        if number < 2 {
            dumps.test(
                &vin(number),
                "auxiliary",
                "2024-12-04 10:00:00",
                300,
                "320,EN,AGM",
            );
        }
        dumps.line(
            &format!("P{number}"),
            &vin(number),
            Line {
                position: "",
                ..at("2025-01-20 08:00:00", "")
            },
        );
    }
    let place = dumps.load();
    let replaced = answers(
        &place,
        "2025-06-30",
        "SELECT vin || ' ' || position AS answer FROM battery_life WHERE replaced_by_order IS NOT NULL ORDER BY vin",
    );
    let mut expected = [(0, "main"), (1, "auxiliary"), (2, "main")]
        .map(|(number, position)| format!("{} {position}", vin(number)));
    expected.sort();
    assert_eq!(replaced, expected);
}
