//! One bad file, link, member or sheet is left out and named once; all that is good beside it goes in.

use std::io::Write;

use super::reading::{Folder, vin};
use voltwane::intake::find_files;
use voltwane::settings::Limits;

fn zip(members: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in members {
        let options = zip::write::SimpleFileOptions::default();
        writer.start_file(*name, options).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn tests(numbers: std::ops::Range<u32>) -> String {
    let lines: Vec<String> = numbers
        .map(|number| format!("{},2026-01-01,ok\n", vin(number)))
        .collect();
    format!("vin,tested_at,source_verdict\n{}", lines.concat())
}

#[test]
fn a_readme_beside_a_dump_in_a_zip_costs_only_itself() {
    let text = tests(0..3);
    let bytes = zip(&[
        ("readme.txt", b"Dear all,\nhere are the tests.\n"),
        ("tests.csv", text.as_bytes()),
        ("empty.csv", b""),
    ]);
    let outcome = Folder::new().read("export.zip", bytes);
    assert_eq!(outcome.count("battery_test"), 3);
    let left_out = &outcome.summary().left_out;
    let names: Vec<&str> = left_out
        .iter()
        .map(|left| left.file.rsplit_once('/').unwrap().1)
        .collect();
    assert_eq!(names, ["readme.txt", "empty.csv"]);
    assert!(left_out[0].why.contains("not recognised by its header"));
    assert!(left_out[1].why.contains("is empty"));
}

#[test]
fn the_rows_of_a_member_that_turns_out_damaged_are_dropped_and_its_neighbours_kept() {
    let (good, long) = (tests(0..3), tests(10..5_000));
    let mut cut = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    cut.write_all(long.as_bytes()).unwrap();
    let cut = cut.finish().unwrap();
    let bytes = zip(&[
        ("a/cut.csv.gz", &cut[..cut.len() / 2]),
        ("b/tests.csv", good.as_bytes()),
    ]);
    let outcome = Folder::new().read("export.zip", bytes);
    assert_eq!(outcome.count("battery_test"), 3);
    let left_out = &outcome.summary().left_out;
    assert_eq!(left_out.len(), 1);
    assert!(left_out[0].why.contains("cut.csv.gz: ends in the middle"));
}

#[test]
fn many_members_that_cannot_be_read_are_counted_and_not_all_named() {
    let names: Vec<String> = (0..500).map(|at| format!("{at}.csv")).collect();
    let text = tests(0..1);
    let mut members: Vec<(&str, &[u8])> =
        names.iter().map(|name| (name.as_str(), &b""[..])).collect();
    members.push(("tests.csv", text.as_bytes()));
    let outcome = Folder::new().read("export.zip", zip(&members));
    assert_eq!(outcome.count("battery_test"), 1);
    let left_out = &outcome.summary().left_out;
    assert_eq!(left_out.len(), 21);
    assert!(
        left_out[20].why.contains("480 more of its members"),
        "{}",
        left_out[20].why
    );
}

#[test]
fn a_sheet_that_cannot_be_read_costs_only_itself() {
    let mut book = rust_xlsxwriter::Workbook::new();
    let far = book.add_worksheet().set_name("Far").unwrap();
    far.write(0, 0, "vin").unwrap();
    far.write(1_048_575, 16_383, "x").unwrap();
    let good = book.add_worksheet().set_name("Good").unwrap();
    for (column, text) in ["vin", "tested_at", "source_verdict"].iter().enumerate() {
        good.write(0, column as u16, *text).unwrap();
    }
    for (column, text) in [vin(1).as_str(), "2026-01-01", "ok"].iter().enumerate() {
        good.write(1, column as u16, *text).unwrap();
    }
    let outcome = Folder::new().read("tests.xlsx", book.save_to_buffer().unwrap());
    assert_eq!(outcome.count("battery_test"), 1);
    let left_out = &outcome.summary().left_out;
    assert_eq!(left_out.len(), 1);
    assert!(
        left_out[0].why.contains("limits.workbook_cells"),
        "{}",
        left_out[0].why
    );
}

#[test]
fn sheets_with_one_far_cell_each_take_no_memory_and_count_together() {
    // Each spans 2^20 rows and 20 columns: below the limit alone, above it from the second on.
    let mut book = rust_xlsxwriter::Workbook::new();
    for number in 0..12 {
        let sheet = book.add_worksheet().set_name(format!("S{number}")).unwrap();
        for (column, text) in ["vin", "tested_at", "source_verdict"].iter().enumerate() {
            sheet.write(0, column as u16, *text).unwrap();
        }
        sheet.write(1_048_575, 19, "x").unwrap();
    }
    let (outcome, summary) = Folder::new().try_read("tests.xlsx", book.save_to_buffer().unwrap());
    let summary = summary.unwrap();
    assert_eq!(summary.parts.len(), 1);
    assert_eq!(outcome.quarantined.len(), 1);
    let refused = summary
        .left_out
        .iter()
        .filter(|left| left.why.contains("limits.workbook_cells"));
    assert_eq!(refused.count(), 11);
}

#[cfg(unix)]
#[test]
fn links_that_lead_nowhere_or_round_and_pipes_do_not_hide_good_files() {
    use std::os::unix::fs::symlink;
    let folder = Folder::new();
    folder.write("in/good.csv", tests(0..1));
    folder.write("in/deep/also.csv", tests(1..2));
    let inside = folder.path().join("in");
    symlink("nowhere", inside.join("dangling.csv")).unwrap();
    symlink("..", inside.join("deep/loop")).unwrap();
    let pipe = inside.join("pipe.csv");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.unwrap().success());
    let found = find_files(&[inside, pipe.clone(), "/dev/zero".into()]);
    let names: Vec<String> = found
        .dumps
        .iter()
        .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names, ["also.csv", "good.csv"]);
    let told: Vec<String> = found.left_out.iter().map(ToString::to_string).collect();
    for (name, why) in [
        ("dangling.csv", "cannot be read"),
        ("loop", "link back to"),
        ("pipe.csv", "only regular files are read"),
        ("/dev/zero", "only regular files are read"),
    ] {
        let named: Vec<&String> = told.iter().filter(|line| line.contains(name)).collect();
        assert!(
            !named.is_empty() && named.iter().all(|line| line.contains(why)),
            "{name}: {told:#?}"
        );
    }
    // Outright, by whatever way it comes: at once, and without waiting for a writer.
    for path in [pipe.as_path(), std::path::Path::new("/dev/zero")] {
        let mut outcome = super::reading::Outcome::default();
        let read = voltwane::intake::read_file(
            path,
            &folder.mappings,
            super::reading::now(),
            &mut outcome,
        );
        let error = read.unwrap_err().to_string();
        assert!(error.contains("only regular files are read"), "{error}");
        let mut mappings = voltwane::intake::Mappings::builtin();
        assert!(mappings.read_toml(path).is_err());
        assert!(voltwane::settings::Settings::read(path).is_err());
        assert!(voltwane::report::screen::read_inventory(path).is_err());
    }
}

fn within(limits: Limits) -> Folder {
    let mut folder = Folder::new();
    folder.mappings.limits = limits;
    folder
}

#[test]
fn past_a_limit_the_file_is_left_out_with_the_settings_name() {
    let text = tests(0..60_000);
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(text.as_bytes()).unwrap();
    let packed = packed.finish().unwrap();
    let error = within(Limits {
        archive_mb: 1,
        ..Limits::default()
    })
    .error("t.csv.gz", &packed);
    assert_eq!(
        error,
        "t.csv.gz: unpacks to more than 1 MiB; nothing of it was loaded. If it is right, raise \
         limits.archive_mb in voltwane.toml"
    );
    // Members count together.
    let half = tests(0..20_000);
    let both = zip(&[("a.csv", half.as_bytes()), ("b.csv", half.as_bytes())]);
    let error = within(Limits {
        archive_mb: 1,
        ..Limits::default()
    })
    .error("both.zip", &both);
    assert!(error.contains("limits.archive_mb"), "{error}");
    let error = within(Limits {
        archive_members: 1,
        ..Limits::default()
    })
    .error("both.zip", &both);
    assert_eq!(
        error,
        "both.zip: has 2 members; nothing of it was loaded. If it is right, raise limits.archive_members \
         in voltwane.toml"
    );
}

#[test]
fn past_a_limit_a_line_goes_to_quarantine() {
    let limits = Limits {
        line_kb: 1,
        json_depth: 3,
        ..Limits::default()
    };
    let long = format!("{},2026-01-01,{}\n", vin(2), "x".repeat(2_000));
    let outcome = within(limits.clone()).read("tests.csv", tests(0..1) + &long);
    assert_eq!(outcome.count("battery_test"), 1);
    assert!(outcome.reason().contains("limits.line_kb"));
    let line = |number, more: &str| {
        format!(
            "{{\"vin\":\"{}\",\"tested_at\":\"2026-01-01\",\"source_verdict\":\"ok\"{more}}}\n",
            vin(number)
        )
    };
    let deep = line(1, ",\"a\":{\"b\":{\"c\":{\"d\":1}}}");
    let outcome = within(limits).read("tests.jsonl", line(0, "") + &deep);
    assert_eq!(outcome.count("battery_test"), 1);
    assert!(
        outcome.reason().contains("limits.json_depth"),
        "{}",
        outcome.reason()
    );
}

/// A column of one long text in every row: a few kilobytes that unpack to as many rows of a mebibyte.
#[test]
fn a_parquet_file_of_one_repeated_text_is_quarantined_row_by_row() {
    use arrow::array::{ArrayRef, RecordBatch, StringArray};
    let rows = 256;
    let vins: StringArray = (0..rows).map(|number| Some(vin(number))).collect();
    let days: StringArray = (0..rows).map(|_| Some("2026-01-01")).collect();
    let long = "x".repeat(2 << 20);
    let texts: StringArray = (0..rows).map(|_| Some(long.as_str())).collect();
    let columns = [
        ("vin", vins),
        ("tested_at", days),
        ("source_verdict", texts),
    ];
    let batch = RecordBatch::try_from_iter(
        columns
            .into_iter()
            .map(|(name, array)| (name, std::sync::Arc::new(array) as ArrayRef)),
    )
    .unwrap();
    let mut bytes = Vec::new();
    let mut writer =
        parquet::arrow::ArrowWriter::try_new(&mut bytes, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    let outcome = Folder::new().read("bomb.parquet", &bytes);
    assert_eq!(outcome.quarantined.len(), rows as usize);
    let error = within(Limits {
        row_group_mb: 1,
        ..Limits::default()
    })
    .error("bomb.parquet", &bytes);
    assert!(error.contains("limits.row_group_mb"), "{error}");
}
