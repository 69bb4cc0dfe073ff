//! What a failure is: evidence for it, what excludes it, why, and how sure.

use super::{Dumps, Line, Shown, answers, vin};

/// What is told of a vehicle whose battery may have failed in May 2025: lines of orders (`order`, the line), tests
/// (place, moment, amperes of 600) and the answer: the place, what it counts as, how sure, and why.
struct Case {
    name: &'static str,
    lines: &'static [(&'static str, Line<'static>)],
    tests: &'static [(&'static str, &'static str, u32)],
    answer: &'static str,
}

const FIT: u32 = 590;
const WORN: u32 = 330;

const fn line(
    opened: &'static str,
    closed: &'static str,
    operation: &'static str,
    cause: &'static str,
    complaint: &'static str,
) -> Line<'static> {
    Line {
        opened,
        closed,
        cause,
        operation,
        position: "",
        complaint,
    }
}

const DAY: &str = "2025-05-20 08:00:00";
const DONE: &str = "2025-05-20 10:00:00";
const CHANGE: &str = "battery replaced";

const CASES: &[Case] = &[
    Case {
        name: "a no-start, then a new battery",
        lines: &[
            (
                "A",
                line(DAY, DONE, "no-start call", "supply", "will not start"),
            ),
            ("A", line(DAY, DONE, CHANGE, "supply", "will not start")),
        ],
        tests: &[],
        answer: "main failed certain: called for, then replaced",
    },
    Case {
        name: "a complaint, found worn",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "cranks slowly"))],
        tests: &[("main", "2025-05-20 08:30:00", WORN)],
        answer: "main failed certain: complaint, found worn or failed",
    },
    Case {
        name: "a complaint, not tested",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "cranks slowly"))],
        tests: &[],
        answer: "main failed likely: complaint, not tested",
    },
    Case {
        name: "other trouble put down to the supply, not tested",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "radio noise"))],
        tests: &[],
        answer: "main failed doubtful: complaint, not tested",
    },
    Case {
        name: "the complaint on another line of the order",
        lines: &[
            ("A", line(DAY, DONE, "other", "supply", "cranks slowly")),
            ("A", line(DAY, DONE, CHANGE, "", "")),
        ],
        tests: &[],
        answer: "main failed likely: complaint, not tested",
    },
    Case {
        name: "a no-start without a position, the auxiliary replaced the next day",
        lines: &[
            (
                "A",
                line(
                    "2025-05-19 08:00:00",
                    "",
                    "no-start call",
                    "supply",
                    "will not start",
                ),
            ),
            (
                "B",
                Line {
                    position: "auxiliary",
                    ..line(DAY, DONE, CHANGE, "", "")
                },
            ),
        ],
        tests: &[("auxiliary", "2024-05-20 08:30:00", FIT)],
        answer: "auxiliary failed certain: called for, then replaced",
    },
    Case {
        name: "what the visit was for, and the supply as the cause",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "annual service"))],
        tests: &[],
        answer: "main preventive: planned",
    },
    Case {
        name: "a programme's own change, found worn before",
        lines: &[(
            "A",
            line(
                DAY,
                DONE,
                CHANGE,
                "battery",
                "planned battery change, weekly list",
            ),
        )],
        tests: &[("main", "2025-05-15 08:30:00", WORN)],
        answer: "main preventive: planned",
    },
    Case {
        name: "an alternator job",
        lines: &[(
            "A",
            line(DAY, DONE, CHANGE, "charging", "alternator renewed"),
        )],
        tests: &[],
        answer: "main preventive: charging trouble",
    },
    Case {
        name: "an alternator job that the cause alone names",
        lines: &[(
            "A",
            line(DAY, DONE, CHANGE, "charging", "noise from the engine"),
        )],
        tests: &[],
        answer: "main preventive: charging trouble",
    },
    Case {
        name: "tested fit the same morning",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "radio noise"))],
        tests: &[("main", "2025-05-20 08:15:00", FIT)],
        answer: "main preventive: found fit",
    },
    Case {
        name: "tested fit the day before",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "cranks slowly"))],
        tests: &[("main", "2025-05-19 08:15:00", FIT)],
        answer: "main preventive: found fit",
    },
    Case {
        name: "found fit first, then worn",
        lines: &[("A", line(DAY, DONE, CHANGE, "supply", "cranks slowly"))],
        tests: &[
            ("main", "2025-05-12 08:15:00", FIT),
            ("main", "2025-05-19 08:15:00", WORN),
        ],
        answer: "main failed certain: complaint, found worn or failed",
    },
    Case {
        name: "a fit test of a day that has no hours may be of the new battery",
        lines: &[(
            "A",
            line("2025-05-20 00:00:00", "", CHANGE, "supply", "cranks slowly"),
        )],
        tests: &[("main", "2025-05-20 11:00:00", FIT)],
        answer: "main failed doubtful: complaint, not tested",
    },
    Case {
        name: "a jump start, charged, and four fit tests since",
        lines: &[
            (
                "A",
                line(DAY, DONE, "jump start", "supply", "will not start"),
            ),
            (
                "A",
                line(DAY, DONE, "battery charged", "supply", "will not start"),
            ),
        ],
        tests: &[
            ("main", "2025-05-20 12:00:00", FIT),
            ("main", "2025-05-27 12:00:00", FIT),
            ("main", "2025-06-03 12:00:00", FIT),
            ("main", "2025-06-10 12:00:00", FIT),
        ],
        answer: "main in service: found fit",
    },
    Case {
        name: "a jump start and nothing since",
        lines: &[(
            "A",
            line(DAY, DONE, "jump start", "supply", "will not start"),
        )],
        tests: &[],
        answer: "main failed likely: called for, not replaced yet",
    },
    Case {
        name: "a no-start, found fit, replaced by plan a month later",
        lines: &[
            (
                "A",
                line(DAY, DONE, "no-start call", "supply", "will not start"),
            ),
            ("B", line("2025-06-20 08:00:00", "", CHANGE, "", "planned")),
        ],
        tests: &[("main", "2025-05-22 12:00:00", FIT)],
        answer: "main preventive: planned",
    },
    Case {
        name: "a no-start put down to something else",
        lines: &[
            (
                "A",
                line(
                    DAY,
                    DONE,
                    "no-start call",
                    "other",
                    "will not start, lights left on",
                ),
            ),
            ("B", line("2025-06-20 08:00:00", "", CHANGE, "", "planned")),
        ],
        tests: &[],
        answer: "main preventive: planned",
    },
    Case {
        name: "nothing said",
        lines: &[("A", line(DAY, DONE, CHANGE, "", ""))],
        tests: &[],
        answer: "main preventive: no complaint of the supply",
    },
];

#[test]
fn a_failure_asks_for_evidence_and_evidence_can_stand_against_it() {
    let mut dumps = Dumps::new();
    for (number, case) in CASES.iter().enumerate() {
        dumps.shown(&vin(number), "2025-06-25", Shown::default());
        for (order_no, line) in case.lines {
            dumps.line(&format!("{order_no}{number}"), &vin(number), *line);
        }
        for (position, at, amperes) in case.tests {
            dumps.test(&vin(number), position, at, *amperes, "600,EN,");
        }
    }
    let place = dumps.load();
    let found = answers(
        &place,
        "2025-06-30",
        "SELECT vin || ' ' || position || ' ' || CONCAT_WS(' ', outcome, certainty) || ': ' || end_evidence AS answer
         FROM battery_life WHERE end_evidence IS NOT NULL",
    );
    assert_eq!(found.len(), CASES.len(), "{found:#?}");
    for (number, case) in CASES.iter().enumerate() {
        let expected = format!("{} {}", vin(number), case.answer);
        assert!(
            found.contains(&expected),
            "{}: {expected}\n{found:#?}",
            case.name
        );
    }

    // What was found fit since is ranked by its chance; what was not may have failed, and stands first.
    let number_of = |name: &str| {
        let at = CASES.iter().position(|case| case.name.contains(name));
        vin(at.expect("the case is there"))
    };
    let chances = answers(
        &place,
        "2025-06-30",
        "SELECT vin || CASE WHEN chance < 0.5 THEN ' in service' ELSE ' may have failed' END AS answer
         FROM battery_risk ORDER BY rank",
    );
    assert_eq!(
        chances[0],
        number_of("a jump start and nothing since") + " may have failed"
    );
    assert!(chances.contains(&(number_of("four fit tests") + " in service")));

    // Without the doubtful ones.
    place.write("lake/voltwane.toml", "[run]\ncount_doubtful = false\n");
    let failed = answers(
        &place,
        "2025-06-30",
        "SELECT certainty AS answer FROM battery_life WHERE failed",
    );
    let sure = CASES.iter().filter(|case| {
        case.answer.contains("failed certain") || case.answer.contains("failed likely")
    });
    assert_eq!(failed.len(), sure.count());
    assert!(!failed.contains(&"doubtful".to_owned()));
}
