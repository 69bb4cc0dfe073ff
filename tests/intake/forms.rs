//! The same rows in every form of file come out the same.

use std::io::Write;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, Date32Array, Float64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
};
use parquet::arrow::ArrowWriter;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

use super::reading::{Folder, Outcome, vin};

/// Two tests, the second without a temperature.
fn check(outcome: &Outcome) {
    let table = "battery_test";
    assert_eq!(outcome.texts(table, "vin"), [Some(vin(1)), Some(vin(2))]);
    let times = ["2026-05-01T10:30:00Z", "2026-05-02T00:00:00Z"];
    assert_eq!(
        outcome.instants(table, "tested_at"),
        times.map(|at| Some(at.to_owned()))
    );
    assert_eq!(
        outcome.numbers(table, "rest_voltage_v"),
        [Some(12.6), Some(12.0)]
    );
    assert_eq!(outcome.numbers(table, "temperature_c"), [Some(21.5), None]);
    assert_eq!(
        outcome.flags(table, "surface_charge_removed"),
        [Some(true), Some(false)]
    );
    assert!(outcome.quarantined.is_empty(), "{:?}", outcome.quarantined);
}

const HEADER: [&str; 5] = [
    "vin",
    "tested_at",
    "rest_voltage_v",
    "temperature_c",
    "surface_charge_removed",
];

fn sheet_bytes(header: &[&str; 5], first_row: u32) -> Vec<u8> {
    let mut workbook = Workbook::new();
    workbook
        .add_worksheet()
        .set_name("Notes")
        .unwrap()
        .write(0, 0, "made by hand")
        .unwrap();
    let sheet = workbook.add_worksheet().set_name("Tests").unwrap();
    for (column, name) in header.iter().enumerate() {
        sheet.write(first_row, column as u16, *name).unwrap();
    }
    let moment = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    let rows = [
        (
            vin(1),
            ExcelDateTime::from_ymd(2026, 5, 1)
                .unwrap()
                .and_hms(10, 30, 0)
                .unwrap(),
            12.6,
            Some(21.5),
            true,
        ),
        (
            vin(2),
            ExcelDateTime::from_ymd(2026, 5, 2).unwrap(),
            12.0,
            None,
            false,
        ),
    ];
    for (number, (vin, at, volts, temperature, removed)) in rows.into_iter().enumerate() {
        let row = first_row + 1 + number as u32;
        sheet.write(row, 0, vin).unwrap();
        sheet.write_with_format(row, 1, &at, &moment).unwrap();
        sheet.write(row, 2, volts).unwrap();
        if let Some(temperature) = temperature {
            sheet.write(row, 3, temperature).unwrap();
        }
        sheet.write(row, 4, removed).unwrap();
    }
    workbook.save_to_buffer().unwrap()
}

#[test]
fn workbooks_are_read_sheet_by_sheet() {
    let outcome = Folder::new().read("tests.xlsx", sheet_bytes(&HEADER, 0));
    check(&outcome);
    assert_eq!(outcome.lines["battery_test"], [2, 3]);
    let part = &outcome.summary().parts[0];
    assert!(part.file.ends_with("tests.xlsx/Tests"));
    assert!(part.remarks[0].starts_with("not read, since nothing fits its header: "));
    assert!(part.remarks[0].ends_with("tests.xlsx/Notes"));
    let error = Folder::new().error("odd.xlsx", sheet_bytes(&["a", "b", "c", "d", "e"], 0));
    assert!(
        error.starts_with("odd.xlsx/Notes: not recognised by its header [made by hand]"),
        "{error}"
    );
}

#[test]
fn a_workbook_is_read_by_a_mapping_with_its_own_marks_and_formats() {
    let folder = Folder::with_mapping(
        "kind = 'battery_test'\ndecimal_mark = ','\nskip_lines = 2\n[columns.A]\nfield = 'vin'\n[columns.B]\n\
         field = 'tested_at'\nformat = '%d.%m.%Y'\n[columns.C]\nfield = 'rest_voltage_v'\n[columns.D]\n\
         field = 'temperature_c'\n[columns.E]\nfield = 'surface_charge_removed'\n",
    );
    check(&folder.read("tests.xlsx", sheet_bytes(&["a", "b", "c", "d", "e"], 3)));
}

/// Made by `tests/reference/intake/make_workbook.py`.
const OLD_WORKBOOK: &[u8] = include_bytes!("../reference/intake/tests.xls");

#[test]
fn old_workbooks_are_read_whatever_they_are_called() {
    for name in ["tests.xls", "tests.csv", "tests"] {
        let outcome = Folder::new().read(name, OLD_WORKBOOK);
        check(&outcome);
        assert_eq!(outcome.lines["battery_test"], [2, 3]);
    }
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(OLD_WORKBOOK).unwrap();
    check(&Folder::new().read("tests.xls.gz", encoder.finish().unwrap()));
}

#[test]
fn a_damaged_workbook_is_named() {
    let new = sheet_bytes(&HEADER, 0);
    let open = open_document();
    for (name, whole) in [
        ("cut.xlsx", &new[..]),
        ("cut.ods", &open),
        ("cut.xls", OLD_WORKBOOK),
    ] {
        for length in [whole.len() - whole.len() / 8, whole.len() / 2, 600] {
            let error = Folder::new().error(name, &whole[..length]);
            assert!(
                error.starts_with(&format!(
                    "{name}: is a workbook that is cut off or damaged ("
                )) && error.ends_with("save it anew; nothing of it was loaded"),
                "{length}: {error}"
            );
        }
    }
}

/// Every byte of it turned over, one after another: rows, an error with a remedy, but no panic.
#[test]
fn an_old_workbook_with_any_byte_wrong_is_survived() {
    let folder = Folder::new();
    let mut refused = 0;
    for at in (0..OLD_WORKBOOK.len()).step_by(3) {
        let mut bytes = OLD_WORKBOOK.to_vec();
        bytes[at] ^= 0xFF;
        if let (_, Err(error)) = folder.try_read("odd.xls", bytes) {
            let text = error.to_string();
            assert!(text.contains("odd.xls") && text.contains("; "), "{text}");
            refused += 1;
        }
    }
    assert!(refused > 50, "{refused}");
}

/// A workbook in parts of the Office Open XML form (ECMA-376), with one sheet as given.
fn workbook_around(sheet: &str) -> Vec<u8> {
    const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
    let relation = |kind: &str, target: &str| {
        format!(
            "<Relationships xmlns=\"{PACKAGE}\"><Relationship Id=\"rId1\" Type=\"{OFFICE}/{kind}\" \
             Target=\"{target}\"/></Relationships>"
        )
    };
    let workbook = format!(
        "<workbook xmlns=\"{MAIN}\" xmlns:r=\"{OFFICE}\"><sheets><sheet name=\"Tests\" sheetId=\"1\" \
         r:id=\"rId1\"/></sheets></workbook>"
    );
    let sheet = format!("<worksheet xmlns=\"{MAIN}\"><sheetData>{sheet}</sheetData></worksheet>");
    packed(&[
        (
            "[Content_Types].xml",
            "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>",
        ),
        (
            "_rels/.rels",
            &relation("officeDocument", "xl/workbook.xml"),
        ),
        ("xl/workbook.xml", &workbook),
        (
            "xl/_rels/workbook.xml.rels",
            &relation("worksheet", "worksheets/sheet1.xml"),
        ),
        ("xl/worksheets/sheet1.xml", &sheet),
    ])
}

#[test]
fn a_workbook_that_would_not_fit_in_memory_is_refused() {
    let header: String = HEADER
        .iter()
        .zip(["A", "B", "C", "D", "E"])
        .map(|(name, column)| {
            format!("<c r=\"{column}1\" t=\"inlineStr\"><is><t>{name}</t></is></c>")
        })
        .collect();
    let header = format!("<row r=\"1\">{header}</row>");
    let outcome = Folder::new().read("head.xlsx", workbook_around(&header));
    assert_eq!(outcome.summary().parts[0].remarks, ["a header and no rows"]);

    // One stray cell in the last row and column there is.
    let far = "<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>";
    let error = Folder::new().error("far.xlsx", workbook_around(&(header + far)));
    assert_eq!(
        error,
        "far.xlsx/Tests: has cells as far apart as 1048576 rows and 16384 columns; delete those far from \
         the table, export the table as CSV, or raise limits.workbook_cells in voltwane.toml"
    );

    // What a member states is believed where it is too much.
    let mut bytes = workbook_around("");
    let size = 3_000_000_000_u32.to_le_bytes();
    let central = bytes
        .windows(4)
        .rposition(|four| four == b"PK\x01\x02")
        .unwrap();
    bytes[central + 24..central + 28].copy_from_slice(&size);
    assert_eq!(
        Folder::new().error("vast.xlsx", bytes),
        "vast.xlsx: is a workbook larger than 1024 MiB when unpacked; export its table as CSV, which is \
         read in any size, or raise limits.workbook_unpacked_mb in voltwane.toml"
    );
}

#[test]
fn a_zip_that_is_no_workbook_is_not_taken_for_one() {
    let error = Folder::new().error("tests.xlsx", packed(&[("tests.csv", "vin\n")]));
    assert_eq!(
        error,
        "tests.xlsx: is a zip without a workbook in it; give it the ending of what it is; dumps in a zip \
         are read from a .zip"
    );
}

#[test]
fn json_lines_are_read_by_their_keys() {
    let text = format!(
        "{{\"vin\": \"{}\", \"tested_at\": \"2026-05-01T10:30:00Z\", \"rest_voltage_v\": 12.6, \"temperature_c\": 21.5, \
         \"surface_charge_removed\": true, \"more\": {{\"colour\": \"red\"}}}}\n\n\
         {{\"tested_at\": \"2026-05-02\", \"vin\": \"{}\", \"rest_voltage_v\": 12, \"temperature_c\": null, \
         \"surface_charge_removed\": false}}\n",
        vin(1),
        vin(2)
    );
    let outcome = Folder::new().read("tests.jsonl", &text);
    check(&outcome);
    assert_eq!(outcome.lines["battery_test"], [1, 3]);
    assert_eq!(
        outcome.summary().parts[0].remarks,
        ["columns not used: more.colour"]
    );
    let outcome = Folder::new().read("tests.jsonl", text + "{\"vin\": \n[1]\n");
    let reasons: Vec<&str> = outcome
        .reasons()
        .iter()
        .map(|(_, _, reason)| *reason)
        .collect();
    assert_eq!(reasons.len(), 2);
    assert!(
        reasons
            .iter()
            .all(|reason| reason.starts_with("not a JSON object: ")),
        "{reasons:?}"
    );
}

#[test]
fn a_json_array_is_refused_with_a_remedy() {
    let error = Folder::new().error("tests.json", "[\n{\"vin\": \"x\"}\n]\n");
    assert_eq!(
        error,
        "tests.json: is one JSON array; write it as JSON lines, one object a line"
    );
}

fn batch() -> RecordBatch {
    let micros = |text: &str| {
        text.parse::<chrono::DateTime<chrono::Utc>>()
            .unwrap()
            .timestamp_micros()
    };
    let times = vec![
        micros("2026-05-01T10:30:00Z"),
        micros("2026-05-02T00:00:00Z"),
    ];
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("vin", Arc::new(StringArray::from(vec![vin(1), vin(2)]))),
        (
            "tested_at",
            Arc::new(TimestampMicrosecondArray::from(times).with_timezone("UTC")),
        ),
        (
            "rest_voltage_v",
            Arc::new(Float64Array::from(vec![12.6, 12.0])),
        ),
        (
            "temperature_c",
            Arc::new(Float64Array::from(vec![Some(21.5), None])),
        ),
        (
            "surface_charge_removed",
            Arc::new(StringArray::from(vec!["yes", "no"])),
        ),
    ];
    RecordBatch::try_from_iter(columns).unwrap()
}

fn parquet_bytes(batch: &RecordBatch) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), None).unwrap();
    writer.write(batch).unwrap();
    writer.close().unwrap();
    bytes
}

#[test]
fn parquet_and_arrow_are_read_by_their_schema() {
    let batch = batch();
    let parquet = parquet_bytes(&batch);
    let mut file = arrow::ipc::writer::FileWriter::try_new(Vec::new(), &batch.schema()).unwrap();
    file.write(&batch).unwrap();
    let file = file.into_inner().unwrap();
    let mut stream =
        arrow::ipc::writer::StreamWriter::try_new(Vec::new(), &batch.schema()).unwrap();
    stream.write(&batch).unwrap();
    let stream = stream.into_inner().unwrap();
    for (name, bytes) in [
        ("t.parquet", parquet),
        ("t.arrow", file),
        ("t.arrows", stream),
    ] {
        let outcome = Folder::new().read(name, &bytes);
        check(&outcome);
        assert_eq!(outcome.lines["battery_test"], [1, 2]);
        let error = Folder::new().error(name, &bytes[..bytes.len() / 2]);
        assert!(error.contains("damaged"), "{name}: {error}");
    }
}

#[test]
fn compressed_parquet_is_read() {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(&parquet_bytes(&batch())).unwrap();
    check(&Folder::new().read("tests.parquet.gz", encoder.finish().unwrap()));
}

#[test]
fn days_come_out_of_parquet_as_days() {
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("depot", Arc::new(StringArray::from(vec!["Moor"]))),
        ("day", Arc::new(Date32Array::from(vec![20_574]))),
        (
            "mean_temperature_c",
            Arc::new(Float64Array::from(vec![-3.25])),
        ),
    ];
    let outcome = Folder::new().read(
        "w.parquet",
        parquet_bytes(&RecordBatch::try_from_iter(columns).unwrap()),
    );
    // 20,574 days after 1970-01-01, by the `date` of GNU coreutils.
    assert_eq!(
        outcome.days("depot_weather", "day"),
        [Some("2026-05-01".to_owned())]
    );
    assert_eq!(
        outcome.numbers("depot_weather", "mean_temperature_c"),
        [Some(-3.25)]
    );
}

/// A sheet in the OpenDocument form (ISO/IEC 26300), written by hand: the parts that hold cells.
fn open_document() -> Vec<u8> {
    let text = |value: &str| {
        format!(
            "<table:table-cell office:value-type=\"string\"><text:p>{value}</text:p></table:table-cell>"
        )
    };
    let number = |value: f64| {
        format!(
            "<table:table-cell office:value-type=\"float\" office:value=\"{value}\"><text:p>{value}</text:p></table:table-cell>"
        )
    };
    let date = |value: &str| {
        format!(
            "<table:table-cell office:value-type=\"date\" office:date-value=\"{value}\"><text:p>a date</text:p></table:table-cell>"
        )
    };
    let row = |cells: &[String]| format!("<table:table-row>{}</table:table-row>", cells.concat());
    let header: Vec<String> = HEADER.iter().map(|name| text(name)).collect();
    let rows = [
        row(&header),
        row(&[
            text(&vin(1)),
            date("2026-05-01T10:30:00"),
            number(12.6),
            number(21.5),
            text("yes"),
        ]),
        row(&[
            text(&vin(2)),
            date("2026-05-02"),
            number(12.0),
            "<table:table-cell/>".to_owned(),
            text("no"),
        ]),
    ];
    let content = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content \
         xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet>\
         <table:table table:name=\"Tests\">{}</table:table></office:spreadsheet></office:body></office:document-content>",
        rows.concat()
    );
    let manifest = "<?xml version=\"1.0\"?><manifest:manifest \
         xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\"/>";
    let members = [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("content.xml", content.as_str()),
        ("META-INF/manifest.xml", manifest),
    ];
    packed(&members)
}

fn packed(members: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in members {
        writer
            .start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        writer.write_all(text.as_bytes()).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn open_document_sheets_are_read() {
    let outcome = Folder::new().read("tests.ods", open_document());
    check(&outcome);
    assert_eq!(outcome.lines["battery_test"], [2, 3]);
}
