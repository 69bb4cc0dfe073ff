//! The list of vehicles to screen: a CSV with a column of vehicle identification numbers, or bare
//! numbers, one a line.
//!
//! It fails when the file cannot be read or holds no number at all; a line that holds something else
//! is kept as such, so that it shows in the report.

use std::path::{Path, PathBuf};

use trade::vin::Vin;

/// Names of the column, as lists from elsewhere call it.
const VIN_COLUMNS: [&str; 5] = ["vin", "vin no", "vin number", "chassis", "chassis no"];

/// Why a list could not be used.
#[derive(Debug, thiserror::Error)]
pub enum InventoryError {
    #[error("the list {path} could not be read: {source}")]
    Read {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("the list {path} is no CSV at line {line}: {source}")]
    Csv {
        path: PathBuf,
        line: u64,
        #[source]
        source: csv::Error,
    },
    #[error(
        "the list {path} holds no vehicle identification number: it needs a column named vin, or one number a line"
    )]
    NoVin { path: PathBuf },
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    pub line: u64,
    /// As it stood.
    pub text: String,
    /// The number, where it is one.
    pub vin: Option<String>,
    /// What is wrong with it, in words.
    pub fault: Option<String>,
}

/// Reads a list; a number that stands in it twice is kept once.
pub fn read(path: &Path) -> Result<Vec<Listed>, InventoryError> {
    let bytes = settings::text_file::bytes(path).map_err(|source| InventoryError::Read {
        path: path.to_owned(),
        source,
    })?;
    let text = String::from_utf8_lossy(&bytes);
    let text = text.trim_start_matches('\u{feff}');
    let delimiter = [b';', b'\t', b',']
        .into_iter()
        .max_by_key(|mark| {
            let first = text.lines().next().unwrap_or_default();
            first.bytes().filter(|byte| byte == mark).count()
        })
        .unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut column = None;
    let mut listed: Vec<Listed> = Vec::new();
    for (at, record) in reader.records().enumerate() {
        let record = record.map_err(|source| InventoryError::Csv {
            path: path.to_owned(),
            line: source.position().map_or(0, csv::Position::line),
            source,
        })?;
        let line = record.position().map_or(at as u64 + 1, csv::Position::line);
        if at == 0 {
            column = record.iter().position(|name| {
                VIN_COLUMNS.contains(&name.trim().to_ascii_lowercase().replace('_', " ").as_str())
            });
            if column.is_some() {
                continue;
            }
        }
        let Some(text) = record.get(column.unwrap_or(0)).map(str::trim) else {
            continue;
        };
        if text.is_empty() {
            continue;
        }
        let entry = match Vin::parse(text) {
            Ok(vin) => Listed {
                line,
                text: text.to_owned(),
                vin: Some(vin.as_str().to_owned()),
                fault: None,
            },
            Err(error) => Listed {
                line,
                text: text.to_owned(),
                vin: None,
                fault: Some(error.to_string()),
            },
        };
        let twice = entry.vin.is_some() && listed.iter().any(|other| other.vin == entry.vin);
        if !twice {
            listed.push(entry);
        }
    }
    if listed.iter().all(|entry| entry.vin.is_none()) {
        return Err(InventoryError::NoVin {
            path: path.to_owned(),
        });
    }
    Ok(listed)
}
