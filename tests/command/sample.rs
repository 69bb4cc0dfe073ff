//! The committed sample: dumps, lake and report can be made again to the same content.

use std::path::{Path, PathBuf};

use super::copy_folder;
use crate::workplace::Workplace;

/// How the sample was made; DEVELOPERS.md says the same.
const SYNTHESIZE: [&str; 9] = [
    "synthesize",
    "--vehicles",
    "400",
    "--weeks",
    "156",
    "--seed",
    "7",
    "--out",
    "sample-lake/dumps",
];

/// The weeks told before, so that the report can say what became of what it said.
const EARLIER_WEEKS: [&str; 3] = ["2026-03-01", "2026-05-03", "2026-06-21"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files_of(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = walkdir::WalkDir::new(folder)
        .into_iter()
        .filter_map(Result::ok)
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| entry.path().strip_prefix(folder).expect("below").to_owned())
        .collect();
    files.sort();
    files
}

fn assert_same_files(committed: &Path, made: &Path) {
    assert_eq!(files_of(committed), files_of(made));
    for file in files_of(committed) {
        // Pictures of a report are taken by hand.
        if file.extension().is_some_and(|ending| ending == "png") {
            continue;
        }
        assert!(
            std::fs::read(committed.join(&file)).expect("readable")
                == std::fs::read(made.join(&file)).expect("readable"),
            "{} is not what it would be made as now: see DEVELOPERS.md, The sample",
            committed.join(&file).display()
        );
    }
}

fn sorted_lines(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    lines.sort();
    lines
}

#[test]
fn dumps_lake_and_report_are_what_they_would_be_made_as() {
    let place = Workplace::new();
    place.run_expecting(0, &SYNTHESIZE);
    assert_same_files(
        &root().join("sample-lake/dumps"),
        &place.path().join("sample-lake/dumps"),
    );

    place.run_expecting(
        1,
        &["load", "--lake", "sample-lake/tables", "sample-lake/dumps"],
    );
    let committed = Workplace::new();
    copy_folder(
        &root().join("sample-lake/tables"),
        &committed.path().join("sample-lake/tables"),
    );
    for (table, leave_out) in [
        ("vehicle", "load_id"),
        ("battery_test", "load_id"),
        ("code_scan", "load_id"),
        ("trouble_code", "load_id"),
        ("work_order", "load_id"),
        ("depot_weather", "load_id"),
        ("quarantine", "load_id"),
        (
            "load_log",
            "load_id, loaded_at, seconds, row_hash, key_hash",
        ),
    ] {
        let query = format!("SELECT * EXCEPT ({leave_out}) FROM lake.{table}");
        let arguments = [
            "sql",
            "--lake",
            "sample-lake/tables",
            "--format",
            "csv",
            &query,
        ];
        let made = sorted_lines(&place.run_expecting(0, &arguments));
        assert!(made.len() > 1, "{table} has rows");
        assert!(
            made == sorted_lines(&committed.run_expecting(0, &arguments)),
            "{table} is not what it would be loaded as now: see DEVELOPERS.md, The sample"
        );
    }

    let weekly = [
        "weekly",
        "--lake",
        "sample-lake/tables",
        "--as-of",
        "2026-06-28",
    ];
    for day in EARLIER_WEEKS {
        let earlier = ["weekly", "--lake", "sample-lake/tables", "--as-of", day];
        place.run_expecting(0, &[&earlier[..], &["--out", "earlier"]].concat());
    }
    place.run_expecting(0, &weekly);
    assert_same_files(
        &root().join("reports/2026-W26"),
        &place.path().join("reports/2026-W26"),
    );
    // The committed lake has been told already: the README's command leaves it as it is.
    let before = files_of(committed.path());
    committed.run_expecting(0, &weekly);
    let after: Vec<PathBuf> = files_of(committed.path())
        .into_iter()
        .filter(|file| !file.starts_with("reports"))
        .collect();
    assert_eq!(before, after);
}

#[test]
fn the_sample_stays_small() {
    let bytes: u64 = ["sample-lake", "reports"]
        .iter()
        .flat_map(|folder| walkdir::WalkDir::new(root().join(folder)))
        .filter_map(Result::ok)
        .filter_map(|entry| entry.metadata().ok())
        .filter(std::fs::Metadata::is_file)
        .map(|about| about.len())
        .sum();
    assert!(
        bytes > 0 && bytes < 15_000_000,
        "the sample takes {bytes} bytes"
    );
}
