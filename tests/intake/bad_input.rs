//! Files in bad condition: one clear message, or one quarantined line, never half a file.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::reading::{Folder, vin};

const HEADER: &str = "vin,position,tested_at,rest_voltage_v";

fn line(number: u32) -> String {
    format!("{},main,2026-05-01 10:00,12.6", vin(number))
}

fn file(lines: &[String]) -> String {
    format!("{HEADER}\n{}\n", lines.join("\n"))
}

fn gzip(text: &str) -> Vec<u8> {
    gzip_bytes(text.as_bytes())
}

fn gzip_bytes(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn zip(members: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in members {
        writer
            .start_file(*name, zip::write::SimpleFileOptions::default())
            .unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn an_empty_file_is_named() {
    let folder = Folder::new();
    assert_eq!(
        folder.error("tests.csv", ""),
        "tests.csv: is empty; export it again, or leave it out"
    );
    assert_eq!(
        folder.error("blank.csv", " \r\n\n"),
        "blank.csv: is empty; export it again, or leave it out"
    );
}

#[test]
fn a_header_alone_is_no_error() {
    let outcome = Folder::new().read("tests.csv", format!("{HEADER}\n"));
    assert_eq!(outcome.summary().rows_read(), 0);
    assert_eq!(outcome.summary().parts[0].remarks, ["a header and no rows"]);
}

#[test]
fn a_missing_file_is_named() {
    let folder = Folder::new();
    let mut outcome = super::reading::Outcome::default();
    let path = folder.path().join("gone.csv");
    let error =
        voltwane::intake::read_file(&path, &folder.mappings, super::reading::now(), &mut outcome)
            .unwrap_err();
    assert!(
        error.to_string().contains("gone.csv: cannot be read"),
        "{error}"
    );
}

#[test]
fn an_unknown_header_names_the_nearest_mapping() {
    let mut folder = Folder::new();
    folder.add_mapping(
        "kind = 'battery_test'\nname = 'Bench'\n[columns.Chassis]\nfield = 'vin'\n[columns.When]\nfield = 'tested_at'\n",
    );
    let error = folder.error("odd.csv", "Chassis,Colour\nA,red\n");
    assert!(
        error.contains("odd.csv: not recognised by its header [Chassis, Colour]"),
        "{error}"
    );
    assert!(
        error.contains("the mapping \"Bench\" lacks only \"When\""),
        "{error}"
    );
}

#[test]
fn the_header_again_is_quarantined() {
    let text = file(&[line(1), HEADER.to_owned(), line(2)]);
    let outcome = Folder::new().read("tests.csv", text);
    assert_eq!(outcome.count("battery_test"), 2);
    assert_eq!(
        outcome.reasons(),
        [(
            3,
            "",
            "the header stands here again: two exports may have been joined"
        )]
    );
}

#[test]
fn a_line_of_ten_megabytes_costs_only_itself() {
    let long = "x".repeat(10_000_000);
    let outcome = Folder::new().read("tests.csv", file(&[line(1), long, line(2)]));
    assert_eq!(outcome.lines["battery_test"], [2, 4]);
    assert_eq!(
        outcome.reason(),
        "the line is too long: 10000000 bytes, at most 1048576 are read (limits.line_kb)"
    );
    assert_eq!(outcome.quarantined[0].raw_text.len(), 2000);
}

#[test]
fn an_unclosed_quote_costs_only_its_line() {
    let open = format!("{},\"main,2026-05-01 10:00,12.6", vin(9));
    let mut lines = vec![line(1), open.clone()];
    lines.extend((10..400).map(line));
    let outcome = Folder::new().read("tests.csv", file(&lines));
    assert_eq!(outcome.count("battery_test"), 391);
    assert_eq!(outcome.quarantined[0].line, 3);
    assert_eq!(outcome.quarantined[0].raw_text, open);
    assert!(
        outcome
            .reason()
            .starts_with("a quote is opened and not closed")
    );
}

#[test]
fn an_unclosed_quote_before_a_quoted_cell_costs_only_its_line() {
    let open = format!("{},\"main,2026-05-01 10:00,12.6", vin(9));
    let quoted = format!("{},\"main\",2026-05-01 10:00,12.6", vin(3));
    let outcome = Folder::new().read("tests.csv", file(&[open, line(2), quoted, line(4)]));
    assert_eq!(outcome.lines["battery_test"], [3, 4, 5]);
}

#[test]
fn lines_of_another_width_are_quarantined() {
    let short = format!("{},main", vin(5));
    let long = format!("{},12,6", line(6));
    let empty_tail = format!("{},,", line(7));
    let outcome = Folder::new().read("tests.csv", file(&[short, long, empty_tail]));
    assert_eq!(outcome.lines["battery_test"], [4]);
    let reasons = outcome.reasons();
    assert_eq!(
        reasons[0].2,
        "fewer columns than the header: 2 of 4; the line may have been cut"
    );
    assert_eq!(
        reasons[1].2,
        "more columns than the header: 6 of 4; quote text that holds the delimiter"
    );
}

#[test]
fn a_cut_gzip_fails_as_a_whole() {
    let text = file(&(0..2000).map(line).collect::<Vec<_>>());
    let whole = gzip(&text);
    let folder = Folder::new();
    assert_eq!(
        folder.read("tests.csv.gz", &whole).count("battery_test"),
        2000
    );
    for length in [whole.len() / 2, whole.len() - 4, 15] {
        let error = folder.error("cut.csv.gz", &whole[..length]);
        assert!(
            error.starts_with(
                "cut.csv.gz: ends in the middle of its compressed data; copy or export it again"
            ),
            "{error}"
        );
    }
    let mut damaged = whole.clone();
    let middle = damaged.len() / 2;
    for byte in &mut damaged[middle..middle + 20] {
        *byte ^= 0x5A;
    }
    let error = folder.error("bad.csv.gz", damaged);
    assert!(
        error.starts_with("bad.csv.gz: ") && error.contains("copy or export it again"),
        "{error}"
    );
}

#[test]
fn a_cut_zip_or_zst_fails_as_a_whole() {
    let text = file(&(0..2000).map(line).collect::<Vec<_>>());
    let folder = Folder::new();
    let whole = zstd::encode_all(text.as_bytes(), 1).unwrap();
    assert_eq!(
        folder.read("tests.csv.zst", &whole).count("battery_test"),
        2000
    );
    let error = folder.error("cut.csv.zst", &whole[..whole.len() / 2]);
    assert!(
        error.contains("ends in the middle of its compressed data"),
        "{error}"
    );
    let whole = zip(&[("tests.csv", text.as_bytes())]);
    let error = folder.error("cut.zip", &whole[..whole.len() / 2]);
    assert!(error.contains("damaged"), "{error}");
}

#[test]
fn a_zip_has_a_part_for_each_member() {
    let weather = "depot,day,mean_temperature_c\nHollowmere,2026-01-01,3.5\n";
    let tests = file(&[line(1), "nonsense".to_owned()]);
    let bytes = zip(&[
        ("a/tests.csv", tests.as_bytes()),
        ("weather.csv", weather.as_bytes()),
        ("__MACOSX/x", b"x"),
    ]);
    let outcome = Folder::new().read("export.zip", bytes);
    assert_eq!(outcome.summary().kind(), "battery_test + depot_weather");
    assert_eq!(outcome.count("battery_test"), 1);
    assert_eq!(outcome.count("depot_weather"), 1);
    assert!(
        outcome.quarantined[0]
            .file
            .ends_with("export.zip/a/tests.csv")
    );
    assert_eq!(outcome.quarantined[0].line, 3);
}

#[test]
fn packed_more_than_once_is_named() {
    let folder = Folder::new();
    let text = file(&[line(1)]);
    let inner = zip(&[("tests.csv", text.as_bytes())]);
    assert_eq!(
        folder.error("outer.zip", zip(&[("a/inner.zip", &inner)])),
        "outer.zip/a/inner.zip: is a zip in a zip; unpack the outer one first"
    );
    assert_eq!(
        folder.error("twice.csv.gz", gzip_bytes(&gzip(&text))),
        "twice.csv.gz: is compressed twice, not text; unpack it once"
    );
    let error = folder.error("odd.csv.gz", gzip_bytes(&inner));
    assert!(
        error.starts_with("odd.csv.gz: is a zip without a workbook in it; "),
        "{error}"
    );
    // Once compressed within a zip is a usual export.
    let outcome = folder.read("export.zip", zip(&[("tests.csv.gz", &gzip(&text))]));
    assert_eq!(outcome.count("battery_test"), 1);
    // Blanks alone, however many: what is looked at is the start.
    let blanks = gzip_bytes(&vec![b' '; 10_000_000]);
    assert!(blanks.len() < 20_000);
    assert_eq!(
        folder.error("blanks.csv.gz", blanks),
        "blanks.csv.gz: is empty; export it again, or leave it out"
    );
}

#[test]
fn binary_files_are_named_for_what_they_are() {
    let folder = Folder::new();
    let pdf = folder.error("report.csv", b"%PDF-1.7\n\x01\x02 stream");
    assert_eq!(
        pdf,
        "report.csv: is a PDF document, not text; export its table as CSV"
    );
    let noise: Vec<u8> = (0..4000u32)
        .map(|at| (at * 7919 % 251) as u8 * u8::from(at % 3 > 0))
        .collect();
    assert!(
        folder
            .error("noise.csv", noise)
            .contains("is a binary file, not text")
    );
    let utf_32 = [&[0xFF, 0xFE, 0, 0][..], &b"v\0\0\0"[..]].concat();
    assert_eq!(
        folder.error("wide.csv", utf_32),
        "wide.csv: is in UTF-32, which is not read; save it as UTF-8, or name its encoding in the mapping"
    );
}

#[test]
fn a_doubled_column_is_named() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\n[columns.V]\nfield = 'vin'\n[columns.T]\nfield = 'tested_at'\n",
    );
    let error = folder.error("tests.csv", "V,T,T\n1,2,3\n");
    assert!(
        error.contains("the column \"T\" stands twice in the header"),
        "{error}"
    );
}

#[test]
fn a_file_without_line_ends_is_no_table() {
    let error = Folder::new().error("blob.csv", "x".repeat(200_000));
    assert_eq!(
        error,
        "blob.csv: no line end in the first 65536 bytes, so no header; it is no table"
    );
}

#[test]
fn a_sink_that_fails_stops_the_file() {
    struct Full;
    impl voltwane::intake::Sink for Full {
        fn rows(
            &mut self,
            _: voltwane::intake::SourceRows,
        ) -> Result<(), voltwane::intake::SinkError> {
            Err("the disk is full".into())
        }
        fn quarantine(
            &mut self,
            _: voltwane::intake::QuarantinedRow,
        ) -> Result<(), voltwane::intake::SinkError> {
            Ok(())
        }
        fn progress(&mut self, _: u64, _: u64) {}
    }
    let folder = Folder::new();
    let path = folder.write("tests.csv", file(&[line(1)]));
    let error =
        voltwane::intake::read_file(&path, &folder.mappings, super::reading::now(), &mut Full)
            .unwrap_err();
    assert!(
        error
            .to_string()
            .ends_with("tests.csv: the rows could not be passed on: the disk is full"),
        "{error}"
    );
}
