//! The house rules that a reader can rely on, kept by reading the sources.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files_below(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = walkdir::WalkDir::new(folder)
        .into_iter()
        .filter_map(Result::ok)
        .map(walkdir::DirEntry::into_path)
        .filter(|path| path.to_string_lossy().ends_with(ending))
        .collect();
    files.sort();
    assert!(
        !files.is_empty(),
        "no {ending} files in {}",
        folder.display()
    );
    files
}

/// Which folders of `pipeline/` each folder may import.
fn allowed() -> BTreeMap<&'static str, &'static [&'static str]> {
    BTreeMap::from([
        (
            "cli",
            &[
                "report",
                "tables",
                "risk",
                "settings",
                "intake",
                "lake",
                "synthetic",
                "statistics",
                "trade",
            ][..],
        ),
        (
            "report",
            &["tables", "risk", "settings", "lake", "statistics", "trade"][..],
        ),
        (
            "tables",
            &["risk", "settings", "lake", "statistics", "trade"][..],
        ),
        ("risk", &["statistics", "trade"][..]),
        ("settings", &["trade"][..]),
        ("intake", &["lake", "trade"][..]),
        ("synthetic", &["trade"][..]),
        ("lake", &["trade"][..]),
        ("statistics", &[][..]),
        ("trade", &[][..]),
    ])
}

#[test]
fn imports_point_down_only() {
    let pipeline = root().join("pipeline");
    let allowed = allowed();
    let mention = regex::Regex::new(r"crate::([a-z_]+)").expect("a pattern");
    let mut seen = 0;
    for file in files_below(&pipeline, ".rs") {
        let inside = file.strip_prefix(&pipeline).expect("below pipeline");
        let folder = inside
            .iter()
            .next()
            .and_then(|part| part.to_str())
            .expect("a name");
        if folder.ends_with(".rs") {
            continue;
        }
        let may = allowed
            .get(folder)
            .unwrap_or_else(|| panic!("pipeline/{folder} has no place in the order of folders"));
        let text = std::fs::read_to_string(&file).expect("a readable file");
        for found in mention.captures_iter(&text) {
            let other = &found[1];
            if other == folder {
                continue;
            }
            seen += 1;
            assert!(
                may.contains(&other),
                "{} imports {other}, which lies above or beside pipeline/{folder}",
                inside.display()
            );
        }
    }
    assert!(seen > 20, "the test no longer finds the imports");
}

#[test]
fn only_one_folder_knows_each_engine() {
    let pipeline = root().join("pipeline");
    for (crate_name, folders) in [
        ("deltalake", &["lake"][..]),
        // The lake hands its tables to the engine, so it names one trait of it.
        ("datafusion", &["tables", "lake"][..]),
    ] {
        let mention = format!("use {crate_name}::");
        for file in files_below(&pipeline, ".rs") {
            let inside = file.strip_prefix(&pipeline).expect("below pipeline");
            let text = std::fs::read_to_string(&file).expect("a readable file");
            let known = folders.iter().any(|folder| inside.starts_with(folder));
            assert!(
                known || !text.contains(&mention),
                "{} uses {crate_name}",
                inside.display()
            );
        }
    }
}

#[test]
fn trade_statistics_and_risk_are_pure() {
    for folder in ["trade", "statistics", "risk"] {
        for file in files_below(&root().join("pipeline").join(folder), ".rs") {
            let text = std::fs::read_to_string(&file).expect("a readable file");
            for forbidden in ["std::fs", "std::io", "std::net", "arrow::", "Utc::now"] {
                assert!(
                    !text.contains(forbidden),
                    "{} uses {forbidden}",
                    file.display()
                );
            }
        }
    }
}

#[test]
fn every_source_file_opens_by_saying_what_it_is() {
    for file in files_below(&root().join("pipeline"), ".rs") {
        let text = std::fs::read_to_string(&file).expect("a readable file");
        assert!(
            text.starts_with("//! ") || text.starts_with("#!["),
            "{} does not open with a //! comment",
            file.display()
        );
    }
}

#[test]
fn every_query_documents_its_row_and_what_it_reads() {
    for file in files_below(&root().join("queries"), ".sql") {
        let text = std::fs::read_to_string(&file).expect("a readable file");
        let opening: Vec<&str> = text
            .lines()
            .take_while(|line| line.starts_with("--"))
            .collect();
        let name = file.display();
        assert!(
            opening
                .first()
                .is_some_and(|line| line.starts_with("-- One row is ")),
            "{name} does not open with `-- One row is …`"
        );
        assert!(
            opening.iter().any(|line| line.contains("Reads ")),
            "{name} does not say what it reads"
        );
    }
}

#[test]
fn the_top_level_stays_as_it_is() {
    let mut found: Vec<String> = std::process::Command::new("git")
        .args(["ls-tree", "--name-only", "HEAD"])
        .current_dir(root())
        .output()
        .map(|output| {
            String::from_utf8_lossy(&output.stdout)
                .lines()
                .map(str::to_owned)
                .collect()
        })
        .unwrap_or_default();
    found.retain(|name| !name.starts_with('.'));
    if found.is_empty() {
        // Not a checkout: look at the folder itself.
        found = std::fs::read_dir(root())
            .expect("a readable folder")
            .filter_map(Result::ok)
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .filter(|name| !name.starts_with('.') && name != "target")
            .collect();
    }
    let known = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pipeline",
        "queries",
        "tests",
        "sample-lake",
        "reports",
    ];
    for name in found {
        assert!(
            known.contains(&name.as_str()),
            "{name} has no place at the top level"
        );
    }
}
