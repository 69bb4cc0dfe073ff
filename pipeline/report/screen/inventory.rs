//! The list of vehicles to screen: a CSV with a column of vehicle identification numbers, or bare
//! numbers, one a line. The buyer's own columns, such as lot, price and seller, are kept.
//!
//! It fails when the file cannot be read or holds no number at all; a line that holds something else
//! is kept with what is wrong with it, so that every line shows in the report.

use std::path::{Path, PathBuf};

use trade::vin::Vin;

/// Names of the column, as lists from elsewhere call it.
const VIN_COLUMNS: [&str; 5] = ["vin", "vin no", "vin number", "chassis", "chassis no"];
/// Names of the column of asking prices.
const PRICE_COLUMNS: [&str; 5] = ["price", "asking price", "asking", "ask", "list price"];

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

/// A list as it was read.
#[derive(Debug, Clone)]
pub struct Inventory {
    /// The names of the buyer's own columns.
    pub columns: Vec<String>,
    pub lines: Vec<Listed>,
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    pub line: u64,
    /// As it stood in the column of numbers.
    pub text: String,
    pub vin: Result<String, Fault>,
    /// What stands in the buyer's own columns.
    pub own: Vec<String>,
    /// The asking price, where a column has one.
    pub price: Option<f64>,
}

/// Why a line names no vehicle to screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    Blank,
    /// The number stands on an earlier line.
    Again(u64),
    /// What is wrong with it, which quotes what stood there.
    Malformed(String),
}

/// Which columns of a list are what.
struct Layout {
    vin: usize,
    price: Option<usize>,
    own: Vec<usize>,
}

/// Reads a list.
pub fn read(path: &Path) -> Result<Inventory, InventoryError> {
    let bytes = settings::text_file::bytes(path).map_err(|source| InventoryError::Read {
        path: path.to_owned(),
        source,
    })?;
    let text = String::from_utf8_lossy(&bytes);
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter(text))
        .from_reader(text.as_bytes());
    let mut records = Vec::new();
    for (at, record) in reader.records().enumerate() {
        let record = record.map_err(|source| InventoryError::Csv {
            path: path.to_owned(),
            line: source.position().map_or(0, csv::Position::line),
            source,
        })?;
        let line = record.position().map_or(at as u64 + 1, csv::Position::line);
        records.push((line, record));
    }
    let width = records.iter().map(|(_, record)| record.len()).max();
    let header = records.first().map(|(_, record)| record.clone());
    let named = |names: &[&str]| {
        header.as_ref()?.iter().position(|name| {
            names.contains(&name.trim().to_ascii_lowercase().replace('_', " ").as_str())
        })
    };
    let by_name = named(&VIN_COLUMNS);
    // Without a header the number is what has the form of one.
    let by_form = || {
        header
            .as_ref()
            .and_then(|first| first.iter().position(|cell| Vin::parse(cell).is_ok()))
    };
    let layout = Layout::new(
        by_name.or_else(by_form).unwrap_or(0),
        by_name.and_then(|_| named(&PRICE_COLUMNS)),
        width.unwrap_or(0),
        &records[records.len().min(usize::from(by_name.is_some()))..],
    );
    let columns = layout
        .own
        .iter()
        .map(|at| {
            let name = header.as_ref().filter(|_| by_name.is_some());
            let name = name.and_then(|header| header.get(*at)).map(str::trim);
            match name.filter(|name| !name.is_empty()) {
                Some(name) => name.to_owned(),
                None => format!("column {}", at + 1),
            }
        })
        .collect();
    let mut lines: Vec<Listed> = Vec::new();
    for (line, record) in records.iter().skip(usize::from(by_name.is_some())) {
        let listed = layout.line(*line, record, &lines);
        lines.push(listed);
    }
    if lines.iter().all(|entry| entry.vin.is_err()) {
        return Err(InventoryError::NoVin {
            path: path.to_owned(),
        });
    }
    Ok(Inventory { columns, lines })
}

/// The mark between cells: the one the first line has most of.
fn delimiter(text: &str) -> u8 {
    [b';', b'\t', b',']
        .into_iter()
        .max_by_key(|mark| {
            let first = text.lines().next().unwrap_or_default();
            first.bytes().filter(|byte| byte == mark).count()
        })
        .unwrap_or(b',')
}

impl Layout {
    /// A column with nothing in it is no column of the buyer's.
    fn new(
        vin: usize,
        price: Option<usize>,
        width: usize,
        rows: &[(u64, csv::StringRecord)],
    ) -> Self {
        let filled = |at: usize| {
            rows.iter()
                .any(|(_, row)| row.get(at).is_some_and(|cell| !cell.trim().is_empty()))
        };
        Self {
            vin,
            price,
            own: (0..width).filter(|at| *at != vin && filled(*at)).collect(),
        }
    }

    fn line(&self, line: u64, record: &csv::StringRecord, before: &[Listed]) -> Listed {
        let cell = |at: usize| record.get(at).unwrap_or_default().trim().to_owned();
        let text = cell(self.vin);
        let vin = match Vin::parse(&text) {
            _ if text.is_empty() => Err(Fault::Blank),
            Err(error) => Err(Fault::Malformed(error.to_string())),
            Ok(vin) => {
                let vin = vin.as_str().to_owned();
                let first = before.iter().find(|other| other.vin.as_deref() == Ok(&vin));
                match first {
                    Some(first) => Err(Fault::Again(first.line)),
                    None => Ok(vin),
                }
            }
        };
        Listed {
            line,
            text,
            vin,
            own: self.own.iter().map(|at| cell(*at)).collect(),
            price: self.price.and_then(|at| amount(&cell(at))),
        }
    }
}

/// An amount of money as people write it: "1,200", "$1 200.00", "1.200,00". A mark with three digits
/// after it parts thousands.
fn amount(text: &str) -> Option<f64> {
    let kept: String = text
        .chars()
        .filter(|letter| letter.is_ascii_digit() || matches!(letter, '.' | ','))
        .collect();
    let last = kept.rfind(['.', ',']);
    let decimals = last.map_or(0, |at| kept.len() - at - 1);
    let digits: String = kept.chars().filter(char::is_ascii_digit).collect();
    let number: f64 = digits.parse().ok()?;
    let amount = match decimals {
        1 | 2 => number / 10f64.powi(decimals as i32),
        _ => number,
    };
    (amount > 0.0).then_some(amount)
}
