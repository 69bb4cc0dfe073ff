//! A file that is still being written: a last line that breaks off is left for the next load, which takes
//! it whole; a last line with all its cells is a row, line end or none.

use crate::workplace::Workplace;

const HEADER: &str = "vin,tested_at,rest_voltage_v,shop\n";
const FIRST: &str = "GB6HD4H26RK000009,2026-05-01T10:00:00Z,12.1,Wexmoor\n";
const LAST: &str = "GM2BR5G80MK000008,2026-05-02T10:00:00Z,12.25,\"Ost, Yard\"\n";

/// Loads the file with these contents; answers the code, what was said, and the rows that count.
fn load(place: &Workplace, name: &str, text: &str) -> (Option<i32>, String, Vec<String>) {
    place.write(name, text);
    let output = place.run(&["load", "--lake", "lake", name]);
    let rows = place.sql(
        &[],
        "SELECT vin, rest_voltage_v, shop FROM battery_test ORDER BY vin",
    );
    (
        output.status.code(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
        rows.iter().map(ToString::to_string).collect(),
    )
}

fn quarantined(place: &Workplace) -> usize {
    place.sql(&[], "SELECT line FROM lake.quarantine").len()
}

#[test]
fn a_last_line_that_breaks_off_is_left_and_the_next_load_takes_it_whole() {
    let whole = format!("{HEADER}{FIRST}{LAST}");
    let undisturbed = Workplace::new();
    let (_, _, expected) = load(&undisturbed, "tests.csv", &whole);
    assert_eq!(expected.len(), 2);
    // Within the first cell, at its end, within the third, and within the quotes of the last.
    for kept in [5, 17, 40, 52] {
        let place = Workplace::new();
        let growing = format!("{HEADER}{FIRST}{}", &LAST[..kept]);
        let (code, said, rows) = load(&place, "tests.csv", &growing);
        assert_eq!(code, Some(1), "{kept}: {said}");
        assert!(
            said.contains("tests.csv: line 3 breaks off and has no line end"),
            "{kept}: {said}"
        );
        assert_eq!((rows.len(), quarantined(&place)), (1, 0), "{kept}");
        let (code, said, rows) = load(&place, "tests.csv", &whole);
        assert_eq!((code, rows), (Some(0), expected.clone()), "{kept}: {said}");
        assert_eq!(quarantined(&place), 0, "{kept}");
    }
}

#[test]
fn a_last_line_with_all_its_cells_is_a_row_and_what_its_last_cell_gains_is_a_correction() {
    let place = Workplace::new();
    let plain = LAST.replace("\"Ost, Yard\"", "Ostyard");
    let row = plain.trim_end();
    let (code, said, rows) = load(
        &place,
        "tests.csv",
        &format!("{HEADER}{FIRST}{}", &row[..row.len() - 4]),
    );
    assert_eq!((code, rows.len()), (Some(0), 2), "{said}");
    assert!(rows[1].contains("\"Ost\""), "{rows:?}");
    for text in [
        format!("{HEADER}{FIRST}{row}"),
        format!("{HEADER}{FIRST}{plain}"),
    ] {
        let (code, said, rows) = load(&place, "tests.csv", &text);
        assert_eq!((code, rows.len()), (Some(0), 2), "{said}");
        assert!(rows[1].contains("\"Ostyard\""), "{rows:?}");
    }
}

#[test]
fn a_line_that_is_short_and_has_its_end_is_quarantined_as_ever() {
    let place = Workplace::new();
    let (code, _, rows) = load(
        &place,
        "tests.csv",
        &format!("{HEADER}{}\n{FIRST}", &LAST[..40]),
    );
    assert_eq!((code, rows.len(), quarantined(&place)), (Some(1), 1, 1));
}

#[test]
fn a_last_object_that_breaks_off_is_left_too() {
    let place = Workplace::new();
    let object = |vin: &str, day: u8| {
        format!(
            "{{\"vin\":\"{vin}\",\"tested_at\":\"2026-05-0{day}T10:00:00Z\",\"rest_voltage_v\":12.1}}"
        )
    };
    let (first, last) = (
        object("GB6HD4H26RK000009", 1),
        object("GM2BR5G80MK000008", 2),
    );
    let (code, said, rows) = load(
        &place,
        "tests.jsonl",
        &format!("{first}\n{}", &last[..last.len() - 1]),
    );
    assert_eq!(
        (code, rows.len(), quarantined(&place)),
        (Some(1), 1, 0),
        "{said}"
    );
    assert!(said.contains("line 2 breaks off"), "{said}");
    let (code, said, rows) = load(&place, "tests.jsonl", &format!("{first}\n{last}"));
    assert_eq!(
        (code, rows.len(), quarantined(&place)),
        (Some(0), 2, 0),
        "{said}"
    );
}
