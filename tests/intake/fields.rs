//! Cells to values: units, numbers, dates in their zones, words.

use super::reading::{Folder, vin};

/// A test export with one column `X` of that field, settings and cells.
fn tests_with(field: &str, settings: &str, head: &str, cells: &[&str]) -> super::reading::Outcome {
    let folder = Folder::with_mapping(&format!(
        "kind = 'battery_test'\n{head}\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\n\
         [columns.R]\nfield = 'source_verdict'\n[columns.X]\nfield = '{field}'\n{settings}\n"
    ));
    let mut text = "V;T;R;X\n".to_owned();
    for (number, cell) in cells.iter().enumerate() {
        text += &format!("{};2026-05-01 10:00;ok;{cell}\n", vin(number as u32));
    }
    folder.read("tests.csv", text)
}

fn close(found: &[Option<f64>], expected: &[f64]) {
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for (found, expected) in found.iter().zip(expected) {
        assert!(
            (found.unwrap() - expected).abs() < 1e-9,
            "{found:?} is not {expected}"
        );
    }
}

/// Fixed points: t(°F) = 1.8 t(°C) + 32, 0 °C = 273.15 K (BIPM, The International System of Units,
/// 9th edition, and NIST SP 811 appendix B.8).
#[test]
fn temperatures_are_turned_into_celsius() {
    let table = "battery_test";
    close(
        &tests_with(
            "temperature_c",
            "unit = 'degF'",
            "",
            &["32", "77", "-40", "158"],
        )
        .numbers(table, "temperature_c"),
        &[0.0, 25.0, -40.0, 70.0],
    );
    close(
        &tests_with("temperature_c", "unit = 'K'", "", &["273.15", "300"])
            .numbers(table, "temperature_c"),
        &[0.0, 26.85],
    );
    // A unit in the cell outweighs the column's.
    close(
        &tests_with(
            "temperature_c",
            "unit = 'degF'",
            "",
            &["20 °C", "68F", "68"],
        )
        .numbers(table, "temperature_c"),
        &[20.0, 20.0, 20.0],
    );
}

/// One international mile is 1,609.344 m (NIST SP 811 appendix B.8).
#[test]
fn miles_are_turned_into_kilometres() {
    let folder = Folder::with_mapping(
        "kind = 'code_scan'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'scanned_at'\n\
         [columns.O]\nfield = 'odometer_km'\nunit = 'mi'\n",
    );
    let text = format!(
        "V,T,O\n{0},2026-01-01,100\n{0},2026-01-02,160.934 km\n",
        vin(1)
    );
    close(
        &folder
            .read("scans.csv", text)
            .numbers("code_scan", "odometer_km"),
        &[160.9344, 160.934],
    );
}

#[test]
fn readings_are_turned_into_the_unit_of_their_kind() {
    let cases: &[(&str, &str, &str, f64)] = &[
        ("conductance S", "S", "812", 812.0),
        ("conductance S", "kS", "0.812", 0.812e3),
        ("conductance S", "mS", "812000", 812.0),
        ("resistance mOhm", "mOhm", "4.85", 4.85),
        ("resistance mOhm", "uOhm", "4850", 4.85),
        ("resistance mOhm", "ohm", "0.00485", 4.85),
        ("CCA EN", "A", "640", 640.0),
        ("CCA SAE", "kA", "0.64", 640.0),
        ("load test V", "mV", "9650", 9.65),
    ];
    for (kind, unit, cell, expected) in cases {
        let settings = format!("measured_kind = '{kind}'\nunit = '{unit}'");
        let outcome = tests_with("measured_value", &settings, "", &[cell]);
        close(
            &outcome.numbers("battery_test", "measured_value"),
            &[*expected],
        );
        assert_eq!(
            outcome.texts("battery_test", "measured_kind"),
            [Some((*kind).to_owned())]
        );
    }
}

#[test]
fn the_kind_of_reading_may_stand_in_the_row() {
    let folder = Folder::new();
    let text = format!(
        "vin,tested_at,measured_value,measured_kind\n{0},2026-01-01,5.1 mOhm,resistance\n{0},2026-01-02,700,cca en\n\
         {0},2026-01-03,700,\n{0},2026-01-04,700,resistance mOhm\n{0},2026-01-05,5 V,CCA EN\n",
        vin(1)
    );
    let outcome = folder.read("tests.csv", text);
    close(
        &outcome.numbers("battery_test", "measured_value"),
        &[5.1, 700.0, 700.0],
    );
    let kinds = outcome.texts("battery_test", "measured_kind");
    assert_eq!(kinds[0].as_deref(), Some("resistance mOhm"));
    assert_eq!(kinds[1].as_deref(), Some("CCA EN"));
    let reasons = outcome.reasons();
    assert_eq!(
        reasons[0].2,
        "a reading without its kind: 700; say what it is by measured_kind in the mapping"
    );
    assert!(
        reasons[1]
            .2
            .starts_with("cranking current has an unknown unit: \"5 V\""),
        "{reasons:?}"
    );
}

#[test]
fn numbers_follow_the_marks_of_the_mapping() {
    let odd = |head: &str, cells: &[&str]| tests_with("rated_value", "", head, cells);
    let comma = "decimal_mark = ','\nthousands_mark = '.'";
    close(
        &odd(comma, &["720,5", "1.250", "1.250,5", "720"]).numbers("battery_test", "rated_value"),
        &[720.5, 1250.0, 1250.5, 720.0],
    );
    close(
        &odd("thousands_mark = ','", &["1,250", "1,250.5"]).numbers("battery_test", "rated_value"),
        &[1250.0, 1250.5],
    );
    close(
        &odd("thousands_mark = ' '", &["1 250", "+720"]).numbers("battery_test", "rated_value"),
        &[1250.0, 720.0],
    );
    close(
        &odd("", &["7.2e2", "$720", "720 A", "720 amps"]).numbers("battery_test", "rated_value"),
        &[720.0; 4],
    );
    let refused = odd("", &["1,250", "abc", "7 2 0", "1.2.3", "12,5", "--7"]);
    // The cell is lost, the test is not.
    assert_eq!(refused.count("battery_test"), 6);
    assert_eq!(refused.reasons().len(), 6);
    assert_eq!(
        refused.reasons()[0].2,
        "cold cranking rating is not a number: \"1,250\" has a \",\" the mapping gives no meaning to; \
         name decimal_mark or thousands_mark"
    );
    assert_eq!(
        refused.reasons()[1].2,
        "cold cranking rating is not a number: \"abc\""
    );
    let group = odd("thousands_mark = ','", &["1,25", "12,5000"]);
    assert!(
        group.reasons()[0]
            .2
            .contains("a thousands mark that does not part three digits")
    );
    assert_eq!(group.count("battery_test"), 2);
}

#[test]
fn whole_numbers_may_be_hexadecimal() {
    let folder = Folder::with_mapping(
        "kind = 'trouble_code'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'scanned_at'\n[columns.M]\n\
         field = 'module_address'\n[columns.C]\nfield = 'code'\n[columns.S]\nfield = 'status_byte'\nunit = 'hex'\n\
         [columns.N]\nfield = 'occurrence_count'\n",
    );
    let row =
        |status: &str, count: &str| format!("{},2026-01-01,7E8,P0562,{status},{count}\n", vin(1));
    let text = format!(
        "V,T,M,C,S,N\n{}{}{}{}",
        row("2F", "3"),
        row("0x09", "0x10"),
        row("G1", "1"),
        row("09", "2.5")
    );
    let outcome = folder.read("codes.csv", text);
    assert_eq!(
        outcome.wholes("trouble_code", "status_byte"),
        [Some(0x2F), Some(9), None, Some(9)]
    );
    assert_eq!(
        outcome.wholes("trouble_code", "occurrence_count"),
        [Some(3), Some(16), Some(1), None]
    );
    assert_eq!(
        outcome.reasons()[0].2,
        "status byte is not a whole number: \"G1\" is not hexadecimal"
    );
    assert_eq!(
        outcome.reasons()[1].2,
        "occurrence count is not a whole number: 2.5 is not a whole number"
    );
}

/// Offsets and the days of change from the IANA time zone database as chrono-tz ships it: Chicago is
/// UTC−6 and UTC−5 in summer; clocks there went forward on 2026-03-08 and back on 2025-11-02.
#[test]
fn local_times_are_read_in_the_zone_of_the_mapping() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\ntime_zone = 'America/Chicago'\n[columns.V]\nfield = 'vin'\n[columns.R]\n\
         field = 'source_verdict'\n[columns.T]\nfield = 'tested_at'\nformat = '%m/%d/%Y %I:%M %p'\n",
    );
    let row = |at: &str| format!("{},ok,{at}\n", vin(1));
    let times = [
        "01/15/2026 02:30 PM",
        "06/15/2026 02:30 PM",
        "11/02/2025 01:30 AM",
        "03/08/2026 02:30 AM",
        "1.1.2026",
    ];
    let text: String = times.iter().map(|at| row(at)).collect();
    let outcome = folder.read("tests.csv", format!("V,R,T\n{text}"));
    let expected = [
        "2026-01-15T20:30:00Z",
        "2026-06-15T19:30:00Z",
        "2025-11-02T06:30:00Z",
    ];
    assert_eq!(
        outcome.instants("battery_test", "tested_at"),
        expected.map(|at| Some(at.to_owned()))
    );
    assert_eq!(
        outcome.reasons()[0],
        (
            5,
            "tested_at",
            "not a date and time: 2026-03-08 02:30 does not exist in America/Chicago, the clocks skipped it"
        )
    );
    assert_eq!(
        outcome.reasons()[1].2,
        "not a date and time: \"1.1.2026\" is not written like %m/%d/%Y %I:%M %p"
    );
}

/// The forms of ISO 8601 that are read without a format; instants as RFC 3339 writes them.
#[test]
fn iso_dates_need_no_format() {
    let folder = Folder::new();
    let times = [
        ("2026-02-09", "2026-02-09T00:00:00Z"),
        ("2026-02-09 14:05", "2026-02-09T14:05:00Z"),
        ("2026-02-09T14:05:07", "2026-02-09T14:05:07Z"),
        ("2026-02-09T14:05:07.250Z", "2026-02-09T14:05:07Z"),
        ("2026-02-09T14:05:07+02:00", "2026-02-09T12:05:07Z"),
        ("2026-02-09 14:05 -0630", "2026-02-09T20:35:00Z"),
    ];
    let text: String = times
        .iter()
        .map(|(at, _)| format!("{},{at},ok\n", vin(1)))
        .collect();
    let outcome = folder.read("tests.csv", format!("vin,tested_at,source_verdict\n{text}"));
    assert_eq!(
        outcome.instants("battery_test", "tested_at"),
        times.map(|(_, at)| Some(at.to_owned()))
    );
    for wrong in [
        "03/04/2026",
        "2026-13-01",
        "2026-02-30",
        "2026-2-9",
        "20260209",
        "2026-02-09 25:00",
        "1.5.26",
    ] {
        let text = format!("vin,tested_at,source_verdict\n{},{wrong},ok\n", vin(1));
        let outcome = folder.read("tests.csv", text);
        assert!(
            outcome.reason().starts_with("not a date and time: "),
            "{wrong}: {:?}",
            outcome.reasons()
        );
    }
}

#[test]
fn date_and_time_may_stand_in_two_columns() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\n[columns.V]\nfield = 'vin'\n[columns.R]\nfield = 'source_verdict'\n\
         [columns.Date]\nfield = 'tested_at'\nformat = ['%d.%m.%Y', '%d.%m.%y']\n[columns.Time]\nfield = 'tested_at'\nformat = '%H:%M'\n",
    );
    let text = format!("V,Time,R,Date\n{0},14:05,ok,09.02.2026\n", vin(1));
    // In the file's order the time stands first: the formats are joined in that order too.
    let outcome = folder.read("tests.csv", text);
    assert_eq!(
        outcome.instants("battery_test", "tested_at"),
        [Some("2026-02-09T14:05:00Z".to_owned())]
    );
    let text = format!(
        "Date,V,Time,R\n09.02.26,{0},14:05,ok\n09.02.2026,{0},,ok\n09.02.2026,{0},noon,ok\n",
        vin(1)
    );
    let outcome = folder.read("tests.csv", text);
    let expected = ["2026-02-09T14:05:00Z", "2026-02-09T00:00:00Z"];
    assert_eq!(
        outcome.instants("battery_test", "tested_at"),
        expected.map(|at| Some(at.to_owned()))
    );
    assert_eq!(outcome.reasons()[0].0, 4);
}

#[test]
fn words_come_from_the_list_or_the_mapping() {
    let words =
        "[words.chemistry]\n'Nass*' = 'flooded'\n'A' = 'AGM'\n'*' = 'gel'\n[words.chemistry_]";
    let head = words.replace("\n[words.chemistry_]", "");
    let folder = Folder::with_mapping(&format!(
        "kind = 'battery_test'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\n[columns.R]\n\
         field = 'source_verdict'\n[columns.X]\nfield = 'chemistry'\n{head}\n"
    ));
    let mut text = "V,T,R,X\n".to_owned();
    for cell in ["NASSZELLE", " a ", "efb", ""] {
        text += &format!("{},2026-01-01,ok,{cell}\n", vin(1));
    }
    let outcome = folder.read("tests.csv", text);
    let expected = [Some("flooded"), Some("AGM"), Some("gel"), None];
    assert_eq!(
        outcome.texts("battery_test", "chemistry"),
        expected.map(|word| word.map(str::to_owned))
    );

    let outcome = tests_with("chemistry", "", "", &["wet", "Enhanced Flooded", "cheese"]);
    assert_eq!(
        outcome.texts("battery_test", "chemistry"),
        [Some("flooded".to_owned()), Some("EFB".to_owned()), None]
    );
    assert_eq!(
        outcome.reason(),
        "not a known chemistry: \"cheese\"; known are flooded, EFB, AGM, gel, lithium; \
         add it under [words.chemistry] in the mapping"
    );
}

#[test]
fn yes_and_no_have_many_spellings() {
    let cells = ["yes", "N", "TRUE", "0", "x", ""];
    let outcome = tests_with("surface_charge_removed", "", "", &cells);
    let expected = [
        Some(true),
        Some(false),
        Some(true),
        Some(false),
        Some(true),
        None,
    ];
    assert_eq!(
        outcome.flags("battery_test", "surface_charge_removed"),
        expected
    );
    assert_eq!(
        tests_with("surface_charge_removed", "", "", &["perhaps"]).reason(),
        "neither yes nor no: \"perhaps\""
    );
}

#[test]
fn blanks_are_no_values() {
    let outcome = tests_with(
        "rated_value",
        "",
        "blank = ['not read']",
        &["", "-", "N/A", "null", "Not Read", "700"],
    );
    let values = outcome.numbers("battery_test", "rated_value");
    assert_eq!(values, [None, None, None, None, None, Some(700.0)]);
}

#[test]
fn constants_fill_what_the_file_does_not_say() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\nshop = 'Corlund'\n[constants]\nposition = 'auxiliary'\nrated_standard = 'en'\n\
         rated_value = 640\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\n[columns.R]\n\
         field = 'source_verdict'\n[columns.S]\nfield = 'rated_standard'\n",
    );
    let outcome = folder.read(
        "tests.csv",
        format!(
            "V,T,R,S\n{0},2026-01-01,ok,\n{0},2026-01-02,ok,SAE\n",
            vin(1)
        ),
    );
    let column = |name| outcome.texts("battery_test", name);
    assert_eq!(
        column("position"),
        [Some("auxiliary".to_owned()), Some("auxiliary".to_owned())]
    );
    assert_eq!(
        column("rated_standard"),
        [Some("EN".to_owned()), Some("SAE".to_owned())]
    );
    assert_eq!(
        column("shop"),
        [Some("Corlund".to_owned()), Some("Corlund".to_owned())]
    );
    assert_eq!(
        outcome.numbers("battery_test", "rated_value"),
        [Some(640.0), Some(640.0)]
    );
}

#[test]
fn vins_are_stored_in_one_form() {
    let folder = Folder::new();
    let lower = vin(1).to_lowercase();
    let text = format!("vin,tested_at,source_verdict\n {lower} ,2026-01-01,ok\n");
    let outcome = folder.read("tests.csv", text);
    assert_eq!(outcome.texts("battery_test", "vin"), [Some(vin(1))]);
    assert_eq!(
        outcome.texts("battery_test", "position"),
        [Some("main".to_owned())]
    );
}
