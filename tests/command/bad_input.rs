//! Bad input: one clear message that names the file and what to do, and the rest still goes in.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::shown;
use crate::workplace::Workplace;

const WEATHER: &str = "depot,day,mean_temperature_c,max_temperature_c\nYard,2026-01-01,1.5,4\n";

fn gzip(text: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(text).expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

fn zip_of(name: &str, text: &[u8]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    writer
        .start_file(name, zip::write::SimpleFileOptions::default())
        .expect("memory takes it");
    writer.write_all(text).expect("memory takes it");
    writer.finish().expect("memory takes it").into_inner()
}

/// A weather file of so many days, one a line.
fn many_days(days: usize) -> String {
    let mut text = String::from("depot,day,mean_temperature_c,max_temperature_c\n");
    let first = chrono::NaiveDate::from_ymd_opt(2000, 1, 1).expect("a day");
    for day in 0..days as u64 {
        text.push_str(&format!(
            "Yard {day},{},1,2\n",
            first + chrono::Days::new(day % 3000)
        ));
    }
    text
}

#[test]
fn a_load_names_each_bad_file_and_takes_the_others() {
    let place = Workplace::new();
    place.write("in/01-good.csv", WEATHER);
    place.write("in/02-empty.csv", "");
    place.write("in/03-unknown.csv", "colour,shape\nred,round\n");
    place.write(
        "in/04-header-only.csv",
        "depot,day,mean_temperature_c,max_temperature_c\n",
    );
    place.write(
        "in/05-utf16.csv",
        WEATHER
            .replace("Yard", "Höfe")
            .encode_utf16()
            .fold(vec![0xFF, 0xFE], |mut bytes, unit| {
                bytes.extend(unit.to_le_bytes());
                bytes
            }),
    );
    let latin: Vec<u8> = WEATHER
        .replace("Yard", "Gr~n")
        .bytes()
        .map(|byte| if byte == b'~' { 0xFC } else { byte })
        .collect();
    place.write("in/06-latin.csv", latin);
    place.write(
        "in/07-bom.csv",
        format!("\u{FEFF}{}", WEATHER.replace("Yard", "Marked")),
    );
    place.write(
        "in/08-good.csv.gz",
        gzip(WEATHER.replace("Yard", "Packed").as_bytes()),
    );
    let cut = gzip(many_days(20_000).as_bytes());
    place.write("in/09-cut.csv.gz", &cut[..cut.len() / 2]);
    place.write(
        "in/10-good.zip",
        zip_of("inside.csv", WEATHER.replace("Yard", "Zipped").as_bytes()),
    );
    place.write(
        "in/11-picture.csv",
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01",
    );
    place.write(
        "in/12-header-twice.csv",
        format!(
            "{}{}",
            WEATHER.replace("Yard", "Twice"),
            WEATHER.replace("Yard", "Again")
        ),
    );
    let long = "x".repeat(10 << 20);
    place.write(
        "in/13-long-line.csv",
        format!(
            "{}{long},2026-01-02,1,2\nLast,2026-01-03,1,2\n",
            WEATHER.replace("Yard", "First")
        ),
    );
    let output = place.run(&["load", "--lake", "lake", "in"]);
    insta::assert_snapshot!(shown(&output));
    let depots = place.sql(&[], "SELECT depot FROM depot_weather ORDER BY depot");
    let depots: Vec<&str> = depots
        .iter()
        .filter_map(|row| row["depot"].as_str())
        .collect();
    assert_eq!(
        depots,
        [
            "Again", "First", "Grün", "Höfe", "Last", "Marked", "Packed", "Twice", "Yard", "Zipped"
        ]
    );
}

#[test]
fn a_path_that_is_not_there_stops_the_load() {
    let place = Workplace::new();
    insta::assert_snapshot!(shown(&place.run(&["load", "--lake", "lake", "nowhere"])));
}

#[test]
fn a_folder_without_dumps_is_said_so() {
    let place = Workplace::new();
    std::fs::create_dir(place.path().join("in")).expect("a folder");
    insta::assert_snapshot!(shown(&place.run(&["load", "--lake", "lake", "in"])));
}

#[test]
fn a_folder_with_other_things_is_not_filled() {
    let place = Workplace::new();
    place.write("in/weather.csv", WEATHER);
    place.write("photos/holiday.txt", "sun");
    insta::assert_snapshot!(shown(&place.run(&["load", "--lake", "photos", "in"])));
}

#[test]
fn lakes_that_are_none_are_said_so() {
    let place = Workplace::new();
    place.write("photos/holiday.txt", "sun");
    place.write("file", "text");
    for (name, lake) in [
        ("missing", "nowhere"),
        ("not_a_lake", "photos"),
        ("a_file", "file"),
    ] {
        let output = place.run(&["weekly", "--lake", lake]);
        insta::assert_snapshot!(format!("lake_{name}"), shown(&output));
    }
}

#[test]
fn an_empty_lake_has_no_report() {
    let place = Workplace::new();
    place.write("in/weather.csv", WEATHER);
    place.run_expecting(0, &["load", "--lake", "lake", "in"]);
    insta::assert_snapshot!(shown(&place.run(&["weekly", "--lake", "lake"])));
}

#[test]
fn a_bad_configuration_names_the_key() {
    let place = super::place_with_lake();
    place.write("lake/voltwane.toml", "[run]\nhorizon_dayz = 30\n");
    let output = place.run(&["weekly", "--lake", "lake"]);
    assert_eq!(output.status.code(), Some(2));
    let said = shown(&output);
    assert!(
        said.contains("horizon_dayz") && said.contains("voltwane.toml"),
        "{said}"
    );
}
