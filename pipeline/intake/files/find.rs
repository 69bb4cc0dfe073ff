//! Which files a load was given: dumps and mappings.
//!
//! Folders are walked. Hidden files, the truth beside an invented fleet, and files that are
//! plainly notes are no dumps when found in a folder; a file named outright is always taken. A path
//! that is not there, a link that leads nowhere or round in a circle, a pipe and a device are left
//! out, each with its error, and the walk goes on.

use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};

use settings::text_file::not_regular;
use walkdir::WalkDir;

use crate::error::IntakeError;

/// The files of a load, sorted by path.
#[derive(Debug, Default)]
pub struct Found {
    pub dumps: Vec<PathBuf>,
    pub mappings: Vec<PathBuf>,
    /// What could not be looked at, and why.
    pub left_out: Vec<IntakeError>,
}

/// The truth of an invented fleet, which no load may read.
const TRUTH: &str = "truth.csv";

/// Endings of files that stand beside dumps and are none.
const NOTES: &[&str] = &[
    "md", "pdf", "docx", "doc", "html", "png", "jpg", "svg", "sql", "py", "rs", "sh",
];

/// Sorts the files at `paths`, and in the folders among them, into dumps and mappings.
pub fn find_files(paths: &[PathBuf]) -> Found {
    let mut found = Found::default();
    for path in paths {
        match std::fs::metadata(path) {
            Ok(about) if about.is_dir() => walk(path, &mut found),
            Ok(about) if about.is_file() => {
                if !is_truth(path) {
                    found.take(path.clone());
                }
            }
            Ok(_) => found.leave_out(path, not_regular()),
            Err(error) => found.leave_out(path, error),
        }
    }
    for list in [&mut found.dumps, &mut found.mappings] {
        list.sort();
        list.dedup();
    }
    found
}

fn walk(folder: &Path, found: &mut Found) {
    let visible = |entry: &walkdir::DirEntry| entry.depth() == 0 || !is_hidden(entry.path());
    for entry in WalkDir::new(folder)
        .follow_links(true)
        .sort_by_file_name()
        .into_iter()
        .filter_entry(visible)
    {
        let entry = match entry {
            Ok(entry) => entry,
            // A hidden link that leads nowhere is as hidden as any.
            Err(error)
                if error
                    .path()
                    .is_some_and(|path| error.depth() > 0 && is_hidden(path)) =>
            {
                continue;
            }
            Err(error) => {
                let path = error.path().unwrap_or(folder).to_owned();
                let why = match error.loop_ancestor() {
                    Some(above) => Error::new(
                        ErrorKind::InvalidInput,
                        format!("it is a link back to {}", above.display()),
                    ),
                    None => error.into(),
                };
                found.leave_out(&path, why);
                continue;
            }
        };
        let path = entry.path();
        if is_truth(path) || NOTES.contains(&ending(path).as_str()) || entry.file_type().is_dir() {
            continue;
        }
        if entry.file_type().is_file() {
            found.take(path.to_owned());
        } else {
            found.leave_out(path, not_regular());
        }
    }
}

impl Found {
    fn leave_out(&mut self, path: &Path, source: Error) {
        self.left_out.push(IntakeError::Unreadable {
            file: path.to_owned(),
            source,
        });
    }

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
