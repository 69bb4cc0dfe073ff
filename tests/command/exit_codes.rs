//! The README's table of exit codes: each class of end has its code, one line that says why, and an
//! example here.

use super::{place_with_lake, shown};
use crate::workplace::Workplace;

const WEATHER: &str = "depot,day,mean_temperature_c,max_temperature_c\nYard,2026-01-01,1.5,4\n";

/// What the README says of codes: the words of a class, and its code.
fn classes() -> Vec<(String, i32)> {
    let readme = concat!(env!("CARGO_MANIFEST_DIR"), "/README.md");
    let readme = std::fs::read_to_string(readme).expect("the README");
    let table = readme
        .split("| code | class |")
        .nth(1)
        .expect("the table of exit codes");
    table
        .lines()
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let cells: Vec<&str> = line.split('|').map(str::trim).collect();
            (cells[2].to_owned(), cells[1].parse().expect("a code"))
        })
        .collect()
}

/// The run ends with this code; one that failed says why in one line, without a trace of calls.
#[track_caller]
fn ends(place: &Workplace, code: i32, arguments: &[&str], why: &str) {
    let output = place.run(arguments);
    let said = shown(&output);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}\n{said}");
    assert!(said.contains(why), "{arguments:?}: {why} is not in\n{said}");
    assert!(
        !said.contains("backtrace") && !said.contains("panicked"),
        "{said}"
    );
    if code == 2 && why.starts_with("voltwane: ") {
        let stderr = String::from_utf8_lossy(&output.stderr);
        let failed = stderr.lines().filter(|line| line.starts_with("voltwane: "));
        assert_eq!(failed.count(), 1, "{stderr}");
        assert!(
            stderr
                .trim_end()
                .lines()
                .last()
                .is_some_and(|line| line.starts_with("voltwane: ")),
            "{stderr}"
        );
    }
}

#[test]
fn each_class_of_end_has_its_code() {
    let place = Workplace::new();
    place.write("in/weather.csv", WEATHER);
    place.write("bad/weather.csv", format!("{WEATHER}Yard,someday,1,2\n"));
    place.write("mixed/weather.csv", WEATHER);
    place.write("mixed/colours.csv", "colour,shape\nred,round\n");
    place.write("other/photo.txt", "sun");
    let lake = place_with_lake();
    lake.write("wrong.toml", "[run]\nhorizon_days = -1\n");
    lake.write("queries/extra.sql", "DELETE FROM vehicle");
    for (class, code) in classes() {
        match class.as_str() {
            "done" => ends(&place, 0, &["load", "--lake", "lake", "in"], "added"),
            "done, nobody reads the answer" => {} // closed_pipe.rs
            "done, rows went to quarantine" => ends(
                &place,
                code,
                &["load", "--lake", "lake", "bad"],
                "quarantine",
            ),
            "done, a file, member or sheet was left out" => {
                ends(
                    &place,
                    code,
                    &["load", "--lake", "lake", "mixed"],
                    "not loaded: ",
                );
            }
            "done, a last line that breaks off was left for the next load" => {
                place.write(
                    "growing.csv",
                    WEATHER.trim_end().rsplit_once(',').expect("cells").0,
                );
                ends(
                    &place,
                    code,
                    &["load", "--lake", "lake", "growing.csv"],
                    "breaks off",
                );
            }
            "done, `check` found something" => {
                ends(&lake, code, &["check", "--lake", "lake"], "quarantine")
            }
            "a mistake on the command line" => ends(&place, code, &["weekly"], "--lake"),
            "no file could be read" => {
                ends(
                    &place,
                    code,
                    &["load", "--lake", "lake", "mixed/colours.csv"],
                    "voltwane: ",
                );
            }
            "no lake there, or one that is damaged" => {
                ends(&place, code, &["weekly", "--lake", "nowhere"], "voltwane: ");
                ends(&place, code, &["weekly", "--lake", "other"], "voltwane: ");
            }
            "nothing to report on" => {
                ends(&place, code, &["weekly", "--lake", "lake"], "voltwane: ")
            }
            "a wrong configuration, query or template" => {
                let wrong = ["weekly", "--lake", "lake", "--config", "wrong.toml"];
                ends(&lake, code, &wrong, "voltwane: ");
                let queries = ["sql", "--lake", "lake", "--queries", "queries", "SELECT 1"];
                ends(&lake, code, &queries, "voltwane: ");
                ends(
                    &lake,
                    code,
                    &["sql", "--lake", "lake", "SELEKT 1"],
                    "voltwane: ",
                );
            }
            "past a limit" => {} // limits.rs
            "the report could not be written" => {
                lake.write("taken", "a file");
                let taken = ["history", "--lake", "lake", "--out", "taken", "nobody"];
                ends(&lake, code, &taken, "voltwane: ");
            }
            "ended by Ctrl-C" | "ended by SIGTERM" => {} // screening.rs
            other => panic!("the class \"{other}\" of the README has no example here"),
        }
    }
    assert!(classes().len() >= 12);
}

/// A trace of calls is for whoever asks for one, and the message stands alone without.
#[test]
fn a_damaged_lake_is_told_of_in_a_line() {
    let place = Workplace::new();
    place.write("in/weather.csv", WEATHER);
    place.run_expecting(0, &["load", "--lake", "lake", "in"]);
    let log = place
        .path()
        .join("lake/depot_weather/_delta_log/00000000000000000000.json");
    let whole = std::fs::read_to_string(&log).expect("readable");
    place.write(
        "lake/depot_weather/_delta_log/00000000000000000000.json",
        &whole[..whole.len() / 2],
    );
    ends(
        &place,
        2,
        &["sql", "--lake", "lake", "SELECT 1"],
        "voltwane: ",
    );
}
