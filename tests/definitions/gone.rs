//! Vehicles that the register lacks.

use super::{Dumps, Line, Shown, answers, vin};

/// The exports of one depot, and of a second one that goes on when the first ends.
const EXPORTS: [&str; 5] = [
    "2024-01-01",
    "2024-04-01",
    "2024-07-01",
    "2024-10-01",
    "2025-01-01",
];

/// What is heard of a vehicle: in which of the exports it is, and on which day else.
struct Known {
    shown: &'static [usize],
    left: &'static str,
    scanned_on: &'static str,
    answer: &'static str,
}

const VEHICLES: [Known; 7] = [
    Known {
        shown: &[0, 1, 2, 3, 4],
        left: "",
        scanned_on: "",
        answer: "in service",
    },
    // One missed export alone is dirt.
    Known {
        shown: &[0, 1, 2, 3],
        left: "",
        scanned_on: "",
        answer: "in service",
    },
    // Two are not.
    Known {
        shown: &[0, 1, 2],
        left: "",
        scanned_on: "",
        answer: "not heard of since 2024-07-01",
    },
    Known {
        shown: &[0],
        left: "",
        scanned_on: "2024-02-10",
        answer: "not heard of since 2024-02-10",
    },
    // Another fact says that it is there.
    Known {
        shown: &[0, 1],
        left: "",
        scanned_on: "2024-11-20",
        answer: "in service",
    },
    // A gap in between.
    Known {
        shown: &[0, 4],
        left: "",
        scanned_on: "",
        answer: "in service",
    },
    Known {
        shown: &[0, 1],
        left: "2024-03-20",
        scanned_on: "",
        answer: "left fleet since 2024-03-20",
    },
];

#[test]
fn a_vehicle_missing_from_two_later_exports_is_not_heard_of() {
    let mut dumps = Dumps::new();
    let mut scans = String::from("scan_id,vin,scanned_at\n");
    for (number, known) in VEHICLES.iter().enumerate() {
        for at in known.shown {
            let last = known.shown.last() == Some(at);
            let row = Shown {
                left: if last { known.left } else { "" },
                ..Shown::default()
            };
            dumps.shown(&vin(number), EXPORTS[*at], row);
        }
        if !known.scanned_on.is_empty() {
            scans.push_str(&format!(
                "S{number},{},{} 10:00:00\n",
                vin(number),
                known.scanned_on
            ));
        }
    }
    // Most vehicles are in every export.
    for number in 30..40 {
        for seen_on in EXPORTS {
            dumps.shown(&vin(number), seen_on, Shown::default());
        }
    }
    // A depot whose register comes no more is silent; its vehicles are not gone. And a row of a
    // mistyped day is no export.
    let far = Shown {
        depot: "Farvale",
        ..Shown::default()
    };
    for number in [20, 21, 22] {
        dumps.shown(&vin(number), "2024-01-01", far);
    }
    for seen_on in ["2024-12-01", "2024-12-02"] {
        dumps.shown(&vin(20), seen_on, far);
    }
    for number in 0..VEHICLES.len() {
        dumps.line(
            &format!("O{number}"),
            &vin(number),
            Line {
                opened: "2024-01-01 08:00:00",
                operation: "other",
                ..Line::default()
            },
        );
    }
    let place = dumps.load();
    place.write("more/scans.csv", scans);
    place.run_expecting(0, &["load", "--lake", "lake", "more"]);

    let found = answers(
        &place,
        "2025-01-31",
        "SELECT vin || ' ' || CONCAT_WS(' since ', outcome, CAST(gone_on AS VARCHAR)) AS answer FROM battery_life",
    );
    for (number, known) in VEHICLES.iter().enumerate() {
        let expected = format!("{} {}", vin(number), known.answer);
        assert!(found.contains(&expected), "{expected} is not in {found:#?}");
    }
    let in_service = |found: &&String| found.ends_with("in service");
    assert_eq!(found.iter().filter(in_service).count(), 4 + 3 + 10);

    // Out of the ranking, out of exposure from its last fact, listed for the planner, named by the check.
    let gone = [vin(2), vin(3)];
    let listed = answers(
        &place,
        "2025-01-31",
        "SELECT vin AS answer FROM vehicle_not_heard_of ORDER BY last_heard_on DESC",
    );
    assert_eq!(listed, gone);
    let ranked = answers(
        &place,
        "2025-01-31",
        "SELECT vin AS answer FROM battery_risk",
    );
    assert_eq!(ranked.len(), 17, "{ranked:?}");
    assert!(gone.iter().all(|vin| !ranked.contains(vin)));
    let exited = answers(
        &place,
        "2025-01-31",
        "SELECT CAST(exited_on AS VARCHAR) AS answer FROM battery_life
         WHERE outcome = 'not heard of' ORDER BY exited_on DESC",
    );
    assert_eq!(exited, ["2024-07-01", "2024-02-10"]);
    let found = place.run_expecting(1, &["check", "--lake", "lake"]);
    assert!(
        found.contains("a vehicle that left without a word"),
        "{found}"
    );

    // As of a day before the second export without it, nobody could know.
    let then = answers(
        &place,
        "2024-11-30",
        "SELECT outcome AS answer FROM battery_life WHERE outcome = 'not heard of'",
    );
    assert_eq!(then.len(), 1, "only the one last heard of in February");
}
