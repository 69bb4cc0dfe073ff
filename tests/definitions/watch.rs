//! From which day failures would have been recorded.

use super::{Dumps, Line, Shown, answers, vin};

fn order(dumps: &mut Dumps, number: usize, vin: &str, day: &str) {
    dumps.line(
        &format!("W{number}-{day}"),
        vin,
        Line {
            opened: &format!("{day} 08:00:00"),
            operation: "other",
            ..Line::default()
        },
    );
}

/// Two depots; one order of the first carries the year 2002; one vehicle moves from the first, which has
/// kept orders since 2023, to the second, which has since 2024.
#[test]
fn one_mistyped_year_does_not_begin_the_watch() {
    let mut dumps = Dumps::new();
    let far = Shown {
        depot: "Farvale",
        ..Shown::default()
    };
    for number in 0..6 {
        dumps.shown(&vin(number), "2023-03-01", Shown::default());
        dumps.shown(&vin(number), "2025-03-01", Shown::default());
        order(
            &mut dumps,
            number,
            &vin(number),
            &format!("2023-0{}-10", number + 3),
        );
        order(
            &mut dumps,
            number,
            &vin(number),
            &format!("2024-0{}-10", number + 3),
        );
    }
    dumps.shown(&vin(6), "2023-03-01", Shown::default());
    dumps.shown(&vin(6), "2025-03-01", far);
    order(&mut dumps, 6, &vin(6), "2023-04-20");
    dumps.shown(&vin(7), "2023-03-01", far);
    dumps.shown(&vin(7), "2025-03-01", far);
    order(&mut dumps, 7, &vin(7), "2024-02-05");
    order(&mut dumps, 7, &vin(7), "2024-08-05");
    order(&mut dumps, 0, &vin(0), "2002-03-15");
    let place = dumps.load();

    let watched = answers(
        &place,
        "2025-03-01",
        "SELECT depot || ' ' || CAST(watched_from AS VARCHAR) || ' ' || CAST(stray_orders AS VARCHAR) AS answer
         FROM depot_watch ORDER BY depot",
    );
    assert_eq!(watched, ["Farvale 2024-02-05 0", "Midvale 2023-03-10 1"]);
    // What the first depot recorded of the vehicle stays known.
    let entered = answers(
        &place,
        "2025-03-01",
        "SELECT vin || ' ' || CAST(entered_on AS VARCHAR) AS answer FROM battery_life",
    );
    for (number, from) in [(0, "2023-03-10"), (6, "2023-03-10"), (7, "2024-02-05")] {
        assert!(
            entered.contains(&format!("{} {from}", vin(number))),
            "{entered:?}"
        );
    }
    let found = place.run_expecting(1, &["check", "--lake", "lake"]);
    assert!(
        found.contains("an order years before all others of its depot"),
        "{found}"
    );
}
