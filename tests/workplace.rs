//! A temporary place: dumps written into it, the program run in it, its answers read back.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Child, Output, Stdio};

use assert_cmd::Command;
use tempfile::TempDir;

/// The present, for every test.
pub const NOW: &str = "2026-07-01T06:00:00Z";

/// A folder that is gone when the test is over.
pub struct Workplace {
    folder: TempDir,
}

impl Workplace {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder can be made"),
        }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file; its folders are made.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).expect("a folder can be made");
        }
        std::fs::write(&path, content).expect("a file can be written");
        path
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path().join(name)).expect("the file is there")
    }

    /// Runs the program in this place, at [`NOW`].
    pub fn run(&self, arguments: &[&str]) -> Output {
        Command::cargo_bin("voltwane")
            .expect("the program is built")
            .current_dir(self.path())
            .env("VOLTWANE_NOW", NOW)
            .env_remove("VOLTWANE_LOG")
            .args(arguments)
            .output()
            .expect("the program starts")
    }

    /// Starts the program in this place, at [`NOW`], and does not wait for it; what it says is not kept.
    pub fn start(&self, arguments: &[&str]) -> Child {
        self.start_telling(arguments, Stdio::null())
    }

    /// The same, with what it says on stderr put there.
    pub fn start_telling(&self, arguments: &[&str], told: Stdio) -> Child {
        std::process::Command::new(assert_cmd::cargo::cargo_bin("voltwane"))
            .args(arguments)
            .current_dir(self.path())
            .env("VOLTWANE_NOW", NOW)
            .env_remove("VOLTWANE_LOG")
            .stdout(Stdio::null())
            .stderr(told)
            .spawn()
            .expect("the program starts")
    }

    /// Runs the program and expects this exit code; answers what it printed on stdout.
    #[track_caller]
    pub fn run_expecting(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let stdout = String::from_utf8_lossy(&output.stdout).into_owned();
        let stderr = String::from_utf8_lossy(&output.stderr);
        assert_eq!(
            output.status.code(),
            Some(code),
            "voltwane {arguments:?} said\n{stdout}\n{stderr}"
        );
        stdout
    }

    /// The rows a query gives, as JSON objects.
    #[track_caller]
    pub fn sql(&self, arguments: &[&str], query: &str) -> Vec<serde_json::Value> {
        let mut all = vec!["sql", "--lake", "lake", "--format", "json"];
        all.extend(arguments);
        all.push(query);
        self.run_expecting(0, &all)
            .lines()
            .map(|line| serde_json::from_str(line).expect("a row is a JSON object"))
            .collect()
    }
}

/// Every file below a folder, by its path there, with what it holds.
#[track_caller]
pub fn bytes_below(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|entry| entry.expect("an entry"))
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let name = entry.path().strip_prefix(folder).expect("below it");
            let bytes = std::fs::read(entry.path()).expect("a file");
            (name.display().to_string(), bytes)
        })
        .collect()
}

/// A number of a row.
#[track_caller]
pub fn number(row: &serde_json::Value, name: &str) -> f64 {
    row[name]
        .as_f64()
        .unwrap_or_else(|| panic!("{name} is no number in {row}"))
}

/// Asserts that two numbers agree to a relative tolerance.
#[track_caller]
pub fn assert_close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{what}: found {found}, expected {expected} within {relative} relative"
    );
}
