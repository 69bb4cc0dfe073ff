//! Quarantined rows in files in which they can be mended, and their way back.
//!
//! Such a file reads like the one its rows came from, with one more column before the others that says
//! where each row stood. When it is loaded, that is what the rows are told to come from, and a note in
//! quarantine says which of them could be used. A file of no such form (a diagnostic log, a report) has no
//! lines to mend.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use serde::Deserialize;

use crate::forms::record::CELLS_OF_NO_TEXT;
use crate::mapping::names::ORIGIN_COLUMN;
use lake::append::Origin;

/// Where a row stood when it went to quarantine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FirstPlace {
    pub origin: Origin,
    pub file_hash: Arc<str>,
}

impl FirstPlace {
    /// As it stands in the column.
    fn text(&self) -> String {
        let Origin { file, line } = &self.origin;
        format!("{file}:{line} {}", self.file_hash)
    }

    pub fn parse(text: &str) -> Option<Self> {
        let (place, hash) = text.trim().rsplit_once(' ')?;
        let (file, line) = place.rsplit_once(':')?;
        let is_hash = hash.len() == 64 && hash.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_hash.then_some(())?;
        Some(Self {
            origin: Origin {
                file: file.into(),
                line: line.parse().ok()?,
            },
            file_hash: hash.into(),
        })
    }
}

/// What stands above the rows of a table in a file of its own: as many lines as its layout passes over,
/// and the header, with the column that says where rows stood.
pub fn header_above(cells: &[String], delimiter: &str, skip_lines: usize) -> String {
    let own = (!cells.iter().any(|cell| cell == ORIGIN_COLUMN)).then_some(ORIGIN_COLUMN);
    let cells: Vec<String> = own
        .into_iter()
        .chain(cells.iter().map(String::as_str))
        .map(|cell| as_cell(cell, delimiter))
        .collect();
    "\n".repeat(skip_lines) + &cells.join(delimiter)
}

/// The row's text without the cell that says where it stood.
pub fn without_origin<'r>(raw: &'r str, cell: &str, header: &str) -> &'r str {
    let Some(delimiter) = delimiter_of(header) else {
        return raw;
    };
    [cell.to_owned(), as_cell(cell, delimiter), quoted(cell)]
        .iter()
        .find_map(|cell| raw.strip_prefix(cell.as_str())?.strip_prefix(delimiter))
        .unwrap_or(raw)
}

/// What parts the cells below a header that begins with the column of this house.
fn delimiter_of(header: &str) -> Option<&str> {
    let rest = header.lines().last()?.strip_prefix(ORIGIN_COLUMN)?;
    if rest.starts_with(CELLS_OF_NO_TEXT) {
        return Some(CELLS_OF_NO_TEXT);
    }
    let first = rest.chars().next()?;
    rest.get(..first.len_utf8())
}

fn as_cell(text: &str, delimiter: &str) -> String {
    match text.contains(delimiter.trim()) || text.contains(['"', '\n', '\r']) {
        true => quoted(text),
        false => text.to_owned(),
    }
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// A row of the quarantine.
#[derive(Debug, Clone, Deserialize)]
pub struct RowToMend {
    pub file: String,
    pub line: i64,
    pub file_hash: String,
    pub raw_text: String,
    pub header: Option<String>,
}

impl RowToMend {
    /// The row as a line below its header; none where its file has no lines to mend.
    fn text(&self) -> Option<String> {
        let header = self.header.as_deref()?;
        let place = FirstPlace {
            origin: Origin {
                file: self.file.as_str().into(),
                line: u64::try_from(self.line).ok()?,
            },
            file_hash: self.file_hash.as_str().into(),
        };
        if header.is_empty() {
            if self.raw_text.contains(ORIGIN_COLUMN) {
                return Some(self.raw_text.clone());
            }
            let inner = self.raw_text.trim_start().strip_prefix('{')?;
            let place = serde_json::Value::String(place.text());
            return Some(format!("{{\"{ORIGIN_COLUMN}\":{place},{inner}"));
        }
        let delimiter = delimiter_of(header)?;
        let first = self.raw_text.split(delimiter).next().unwrap_or_default();
        if FirstPlace::parse(first.trim_matches('"')).is_some() {
            return Some(self.raw_text.clone());
        }
        let place = as_cell(&place.text(), delimiter);
        Some(format!("{place}{delimiter}{}", self.raw_text))
    }
}

/// Why rows could not be written out.
#[derive(Debug, thiserror::Error)]
pub enum Unmendable {
    #[error("{} is there already: name a new folder", .0.display())]
    Taken(PathBuf),
    #[error("{}: {source}", path.display())]
    Write {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
}

/// What was written to be mended.
#[derive(Debug, Default)]
pub struct WrittenToMend {
    pub files: Vec<PathBuf>,
    pub rows: usize,
    /// Rows of files that have no lines to mend.
    pub without_lines: usize,
}

type FileAndHeader<'r> = (&'r str, &'r str);
/// A line, and the hash of the file as it was when the line was read.
type LineOfVersion<'r> = (i64, &'r str);

/// Writes the rows into new files below `folder`, which must not be there: one for each file and header
/// that they came from, under the file's own name, by which mappings may know it.
pub fn write_to_mend(rows: &[RowToMend], folder: &Path) -> Result<WrittenToMend, Unmendable> {
    if folder.exists() {
        return Err(Unmendable::Taken(folder.to_owned()));
    }
    let mut written = WrittenToMend::default();
    let mut files: BTreeMap<FileAndHeader<'_>, BTreeMap<LineOfVersion<'_>, String>> =
        BTreeMap::new();
    for row in rows {
        let Some(text) = row.text() else {
            written.without_lines += 1;
            continue;
        };
        let header = row.header.as_deref().unwrap_or_default();
        let lines = files.entry((row.file.as_str(), header)).or_default();
        // Of a row that was mended in vain the last state is given.
        lines.insert((row.line, row.file_hash.as_str()), text);
    }
    let mut taken = BTreeSet::new();
    for ((file, header), lines) in files {
        let own = own_path(file);
        let path = (1..)
            .map(|number| match number {
                1 => folder.join(&own),
                another => folder.join(another.to_string()).join(&own),
            })
            .find(|path| taken.insert(path.clone()))
            .unwrap_or_else(|| folder.join(&own));
        let mut text = String::new();
        if !header.is_empty() {
            // The mark outweighs the encoding that a mapping names.
            text.push('\u{FEFF}');
            text.push_str(header);
            text.push('\n');
        }
        for line in lines.values() {
            text.push_str(line);
            text.push('\n');
        }
        written.rows += lines.len();
        let made = match path.parent() {
            Some(parent) => std::fs::create_dir_all(parent),
            None => Ok(()),
        };
        made.and_then(|()| std::fs::write(&path, text))
            .map_err(|source| Unmendable::Write {
                path: path.clone(),
                source,
            })?;
        written.files.push(path);
    }
    Ok(written)
}

/// A file's name as a path below a folder: nothing in it leads out of it, is hidden, or is longer than a
/// name may be.
fn own_path(file: &str) -> PathBuf {
    const LONGEST: usize = 60;
    let lower = file.to_lowercase();
    let packed = [".gz", ".gzip", ".zst", ".zstd"];
    let packed = packed.iter().find(|ending| lower.ends_with(**ending));
    let unpacked = packed.map_or(file, |ending| {
        file.get(..file.len() - ending.len()).unwrap_or(file)
    });
    let parts = Path::new(unpacked)
        .components()
        .filter_map(|part| match part {
            Component::Normal(name) => Some(name.to_string_lossy()),
            _ => None,
        });
    let path: PathBuf = parts
        .map(|name| {
            let safe: String = name
                .chars()
                .map(|letter| match letter {
                    '\\' | ':' => '_',
                    letter if letter.is_control() => '_',
                    letter => letter,
                })
                .collect();
            let cut = safe.chars().count().saturating_sub(LONGEST);
            let safe: String = safe.chars().skip(cut).collect();
            match safe.strip_prefix('.') {
                Some(rest) => format!("_{rest}"),
                None => safe,
            }
        })
        .collect();
    match path.as_os_str().is_empty() {
        true => PathBuf::from("rows"),
        false => path,
    }
}
