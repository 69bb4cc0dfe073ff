//! Days on which calendars stumble, and lakes that hold next to nothing: a report, or one clear line.

use super::shown;
use crate::workplace::{Workplace, number};

const VIN: &str = "7ZV4C1A09S0000001";

/// A lake of one vehicle: no failure, no weather, no scan, and at first no test.
fn one_vehicle() -> Workplace {
    let place = Workplace::new();
    let mut register =
        "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date\n".to_owned();
    for day in [
        "2020-06-01",
        "2020-12-28",
        "2021-01-01",
        "2024-02-29",
        "2024-03-01",
    ] {
        register.push_str(&format!(
            "{VIN},{day},U1,Yard,Make,Model,combustion,2020-02-29\n"
        ));
    }
    place.write("in/register.csv", register);
    place.write(
        "in/tests.csv",
        format!("vin,tested_at,rest_voltage_v,temperature_c,source_verdict\n{VIN},2024-02-29 23:59:59,12.6,20,ok\n"),
    );
    let loaded = place.run(&["load", "--lake", "lake", "in"]);
    assert_eq!(loaded.status.code(), Some(0), "{}", shown(&loaded));
    place
}

#[test]
fn a_leap_day_and_a_week_53_have_their_report() {
    let place = one_vehicle();
    // 3 January 2021 is in the 53rd week of 2020 (ISO 8601).
    for (day, week, tests) in [
        ("2021-01-03", "2020-W53", 0.0),
        ("2024-02-29", "2024-W09", 1.0),
    ] {
        let written = place.run(&["weekly", "--lake", "lake", "--as-of", day, "--out", "out"]);
        assert_eq!(written.status.code(), Some(0), "{}", shown(&written));
        let report = place.read(&format!("out/{week}/report.md"));
        assert!(report.contains(day) && !report.contains("NaN"), "{report}");
        let seen = place.sql(
            &["--as-of", day],
            "SELECT (SELECT COUNT(*) FROM battery_test) AS tests, iso_week($as_of) AS week,
                    day_plus($as_of, 1) AS tomorrow",
        );
        assert_eq!(number(&seen[0], "tests"), tests);
        assert_eq!(seen[0]["week"], week);
    }
    for command in [
        &[
            "comebacks",
            "--lake",
            "lake",
            "--as-of",
            "2024-02-29",
            "--out",
            "out",
        ][..],
        &[
            "history",
            "--lake",
            "lake",
            "--as-of",
            "2024-02-29",
            "--out",
            "out",
            "U1",
        ],
    ] {
        let written = place.run(command);
        assert_eq!(written.status.code(), Some(0), "{}", shown(&written));
    }
}

#[test]
fn before_the_first_fact_and_after_the_present_there_is_one_clear_line_or_a_report() {
    let place = one_vehicle();
    place.write("list.csv", format!("vin\n{VIN}\n"));
    for command in [
        &["weekly", "--out", "out"][..],
        &["screen", "--out", "out", "list.csv"],
        &["history", "--out", "out", "U1"],
    ] {
        let mut all = command.to_vec();
        all.extend(["--lake", "lake", "--as-of", "2019-01-01"]);
        let output = place.run(&all);
        let stderr = String::from_utf8_lossy(&output.stderr);
        match output.status.code() {
            Some(2) => assert_eq!(stderr.lines().count(), 1, "{stderr}"),
            code => assert_eq!(code, Some(0), "{}", shown(&output)),
        }
        assert!(!stderr.contains("panicked"), "{stderr}");
    }
    let future = place.run(&["weekly", "--lake", "lake", "--as-of", "2099-12-31"]);
    assert_eq!(future.status.code(), Some(2));
    assert!(
        shown(&future).contains("2099-12-31 is in the future"),
        "{}",
        shown(&future)
    );
}
