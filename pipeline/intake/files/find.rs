//! Which files a load was given: dumps and mappings.
//!
//! Folders are walked. Hidden files, the truth beside an invented fleet, and files that are
//! plainly notes are no dumps when found in a folder; a file named outright is always taken. Fails
//! when a path is not there.

use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use crate::error::IntakeError;

/// The files of a load, sorted by path.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    pub dumps: Vec<PathBuf>,
    pub mappings: Vec<PathBuf>,
}

/// The truth of an invented fleet, which no load may read.
const TRUTH: &str = "truth.csv";

/// Endings of files that stand beside dumps and are none.
const NOTES: &[&str] = &[
    "md", "pdf", "docx", "doc", "html", "png", "jpg", "svg", "sql", "py", "rs", "sh",
];

/// Sorts the files at `paths`, and in the folders among them, into dumps and mappings.
pub fn find_files(paths: &[PathBuf]) -> Result<Found, IntakeError> {
    let mut found = Found::default();
    for path in paths {
        let about = std::fs::metadata(path).map_err(|source| IntakeError::Unreadable {
            file: path.clone(),
            source,
        })?;
        if about.is_dir() {
            walk(path, &mut found)?;
        } else if !is_truth(path) {
            found.take(path.clone());
        }
    }
    for list in [&mut found.dumps, &mut found.mappings] {
        list.sort();
        list.dedup();
    }
    Ok(found)
}

fn walk(folder: &Path, found: &mut Found) -> Result<(), IntakeError> {
    let visible = |entry: &walkdir::DirEntry| entry.depth() == 0 || !is_hidden(entry.path());
    for entry in WalkDir::new(folder)
        .follow_links(true)
        .into_iter()
        .filter_entry(visible)
    {
        let entry = entry.map_err(|error| {
            let file = error.path().unwrap_or(folder).to_owned();
            IntakeError::Unreadable {
                file,
                source: error.into(),
            }
        })?;
        let path = entry.path();
        if entry.file_type().is_file() && !is_truth(path) && !NOTES.contains(&ending(path).as_str())
        {
            found.take(path.to_owned());
        }
    }
    Ok(())
}

impl Found {
    fn take(&mut self, path: PathBuf) {
        if ending(&path) == "toml" {
            self.mappings.push(path);
        } else {
            self.dumps.push(path);
        }
    }
}

fn ending(path: &Path) -> String {
    path.extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default()
}

fn is_hidden(path: &Path) -> bool {
    path.file_name()
        .is_some_and(|name| name.to_string_lossy().starts_with('.'))
}

fn is_truth(path: &Path) -> bool {
    path.file_name()
        .is_some_and(|name| name.eq_ignore_ascii_case(TRUTH))
}
