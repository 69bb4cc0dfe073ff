//! How a text is laid out: delimiter, encoding, line ends, lines before the header.

use proptest::prelude::*;

use super::reading::{Folder, vin};

fn weather(depot: &str, delimiter: &str) -> String {
    ["depot", "day", "mean_temperature_c"].join(delimiter)
        + "\n"
        + &[depot, "2026-01-01", "3.5"].join(delimiter)
        + "\n"
}

fn depots(bytes: impl AsRef<[u8]>) -> Vec<Option<String>> {
    Folder::new()
        .read("weather.csv", bytes)
        .texts("depot_weather", "depot")
}

fn utf_16(text: &str, big: bool) -> Vec<u8> {
    text.encode_utf16()
        .flat_map(|unit| {
            if big {
                unit.to_be_bytes()
            } else {
                unit.to_le_bytes()
            }
        })
        .collect()
}

#[test]
fn the_delimiter_is_found() {
    for delimiter in [",", ";", "\t", "|"] {
        assert_eq!(
            depots(weather("Hollowmere", delimiter)),
            [Some("Hollowmere".to_owned())],
            "{delimiter:?}"
        );
    }
}

#[test]
fn encodings_are_found() {
    let name = "Brückenried";
    let text = weather(name, ",");
    let expected = [Some(name.to_owned())];
    assert_eq!(depots(&text), expected);
    assert_eq!(
        depots([b"\xEF\xBB\xBF", text.as_bytes()].concat()),
        expected
    );
    let windows: Vec<u8> = text.chars().map(|character| character as u8).collect();
    assert_eq!(depots(windows), expected);
    for big in [false, true] {
        let mark: &[u8] = if big { &[0xFE, 0xFF] } else { &[0xFF, 0xFE] };
        assert_eq!(depots([mark, &utf_16(&text, big)].concat()), expected);
        assert_eq!(depots(utf_16(&text, big)), expected);
    }
}

#[test]
fn a_late_byte_that_is_no_utf_8_is_read_as_windows_1252() {
    let mut bytes = b"depot,day,mean_temperature_c\n".to_vec();
    for _ in 0..4000 {
        bytes.extend_from_slice(b"Hollowmere,2026-01-01,3.5\n");
    }
    bytes.extend_from_slice(b"Br\xFCckenried,2026-01-01,3.5\n");
    assert_eq!(depots(&bytes)[4000].as_deref(), Some("Brückenried"));
}

#[test]
fn a_named_encoding_is_held_to() {
    let mapping = |encoding: &str| {
        format!(
            "kind = 'depot_weather'\nencoding = '{encoding}'\n[columns.D]\nfield = 'depot'\n[columns.T]\n\
             field = 'mean_temperature_c'\n[columns.Day]\nfield = 'day'\n"
        )
    };
    let bytes = b"D,T,Day\nBr\xFCck,1,2026-01-01\nMoor,2,2026-01-01\n";
    let outcome = Folder::with_mapping(&mapping("utf-8")).read("w.csv", bytes);
    assert_eq!(
        outcome.texts("depot_weather", "depot"),
        [Some("Moor".to_owned())]
    );
    assert_eq!(
        outcome.reason(),
        "the line is not in UTF-8: byte 3 is not UTF-8"
    );
    let outcome = Folder::with_mapping(&mapping("iso-8859-2")).read("w.csv", bytes);
    assert_eq!(
        outcome.texts("depot_weather", "depot")[0].as_deref(),
        Some("Brück")
    );
}

#[test]
fn line_ends_of_every_kind_are_read() {
    let text = weather("Hollowmere", ",") + "Moor,2026-01-01,1\n";
    for end in ["\n", "\r\n", "\r"] {
        assert_eq!(depots(text.replace('\n', end)).len(), 2, "{end:?}");
    }
    assert_eq!(depots(text.trim_end()).len(), 2);
}

#[test]
fn blank_lines_do_not_count() {
    let outcome = Folder::new().read(
        "w.csv",
        "depot,day,mean_temperature_c\n\nMoor,2026-01-01,1\n,,\n \nMoor,2026-01-02,1\n",
    );
    assert_eq!(outcome.lines["depot_weather"], [3, 6]);
    assert_eq!(outcome.summary().rows_read(), 2);
}

#[test]
fn lines_before_the_header_are_skipped() {
    let folder = Folder::with_mapping(
        "kind = 'depot_weather'\nskip_lines = 2\n[columns.D]\nfield = 'depot'\n[columns.T]\n\
         field = 'mean_temperature_c'\n[columns.Day]\nfield = 'day'\n",
    );
    let outcome = folder.read(
        "w.csv",
        "Weather \"export\nof the year\n d ;T;DAY\nMoor;1;2026-01-01\n",
    );
    assert_eq!(outcome.lines["depot_weather"], [4]);
}

#[test]
fn quoted_cells_hold_anything() {
    let text = "depot,day,mean_temperature_c\n\"North \"\"Gate\"\", yard\nB\",2026-01-01,1\nMoor,2026-01-01,1\n";
    let outcome = Folder::new().read("w.csv", text);
    assert_eq!(
        outcome.texts("depot_weather", "depot")[0].as_deref(),
        Some("North \"Gate\", yard\nB")
    );
    assert_eq!(outcome.lines["depot_weather"], [2, 4]);
}

#[test]
fn many_rows_come_in_bounded_batches() {
    let mut text = "vin,tested_at,source_verdict\n".to_owned();
    for number in 0..20_000 {
        text += &format!("{},2026-01-01,ok\n", vin(number));
    }
    let outcome = Folder::new().read("tests.csv", &text);
    let sizes: Vec<usize> = outcome.batches["battery_test"]
        .iter()
        .map(|batch| batch.num_rows())
        .collect();
    assert_eq!(sizes, [8192, 8192, 3616]);
    assert_eq!(
        outcome.lines["battery_test"],
        (2..=20_001).collect::<Vec<u64>>()
    );
    let total = text.len() as u64;
    assert_eq!(outcome.progress.last(), Some(&(total, total)));
    assert!(
        outcome.progress.len() > 3
            && outcome
                .progress
                .windows(2)
                .all(|pair| pair[0].0 <= pair[1].0)
    );
}

proptest! {
    /// The cells of well-formed text are those the `csv` crate (BurntSushi) finds.
    #[test]
    fn cells_are_those_of_the_csv_crate(
        rows in prop::collection::vec(prop::collection::vec("[a-z\",\n ;]{0,6}", 3), 1..8)
    ) {
        let mut writer = csv::WriterBuilder::new().quote_style(csv::QuoteStyle::Necessary).from_writer(Vec::new());
        writer.write_record(["depot", "day", "mean_temperature_c"]).unwrap();
        for row in &rows {
            writer.write_record([format!("x{}", row[0]).as_str(), "2026-01-01", "1"]).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        let expected: Vec<Option<String>> = csv::Reader::from_reader(bytes.as_slice())
            .records()
            .map(|record| Some(record.unwrap()[0].trim().to_owned()))
            .collect();
        prop_assert_eq!(depots(&bytes), expected);
    }
}
