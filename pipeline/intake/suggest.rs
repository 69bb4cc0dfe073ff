//! A first mapping for a file, to be edited.
//!
//! Kind and fields are the likeliest by the columns' names; date formats, decimal mark and words are
//! those that fit the first rows. What is not sure stands in a comment, and a column that suggests
//! nothing is ignored, so the mapping says all that is left to do. Fails as reading the file does.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

use chrono::NaiveTime;

use super::error::IntakeError;
use super::fields::dump::DumpKind;
use super::fields::meaning::{Meaning, meaning};
use super::fields::moment::Formats;
use super::fields::number::{Marks, leading_number};
use super::files::container::{failed, visit_parts};
use super::forms::record::{Record, Step};
use super::forms::text::Layout;
use super::mapping::names::likely_field;
use super::mapping::recognise::likely_kind;
use super::mapping::shop_mapping::Mapping;
use super::source::{Source, visit_sources};
use settings::Limits;
use trade::heavy_code::Code;
use trade::vin::Vin;

/// Rows that formats and words are found from.
const ROWS: usize = 500;

const DAYS: &[&str] = &[
    "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d-%b-%Y", "%d %b %Y", "%b %d %Y",
    "%Y/%m/%d", "%Y%m%d", "%d.%m.%y", "%m/%d/%y", "%d/%m/%y", "%d-%b-%y",
];
const TIMES: &[&str] = &[
    "%H:%M",
    "%H:%M:%S",
    "%I:%M %p",
    "%I:%M:%S %p",
    "%H.%M",
    "%H%M",
];

/// A mapping in TOML for the first table of the file at `path`.
pub fn suggest_mapping(path: &Path) -> Result<String, IntakeError> {
    let taken = Arc::new(AtomicU64::new(0));
    let mut text = None;
    visit_parts(path, &Limits::default(), &taken, &mut |part| {
        let part = part?;
        let compressed = part.is_compressed();
        visit_sources(part, &mut |source| {
            let source = source?;
            if text.is_none() {
                let name = source.name.clone();
                text = Some(suggest(source).map_err(|error| failed(&name, compressed, error))?);
            }
            Ok(())
        })
    })?;
    text.ok_or_else(|| IntakeError::Empty {
        file: path.display().to_string(),
    })
}

/// A column's name with its first cells, none of them blank.
struct Sample {
    name: String,
    cells: Vec<String>,
}

fn suggest(source: Source<'_>) -> std::io::Result<String> {
    let layout = Layout::default();
    let header = source.header(&layout).unwrap_or_default();
    let stem = source
        .name
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or_default()
        .split('.')
        .next()
        .unwrap_or_default()
        .to_owned();
    let delimiter = source.delimiter(&layout);
    let mut samples: Vec<Sample> = header
        .into_iter()
        .map(|name| Sample {
            name,
            cells: Vec::new(),
        })
        .collect();
    let mut records = source
        .records(&Mapping::new("", DumpKind::Vehicle))
        .map_err(std::io::Error::other)?;
    let mut record = Record::default();
    for _ in 0..ROWS {
        match records.next(&mut record)? {
            None => break,
            Some(Step::Bad(_) | Step::Unfinished) => continue,
            Some(Step::Row) => {}
        }
        for (sample, cell) in samples.iter_mut().zip(record.cells()) {
            if !cell.trim().is_empty() {
                sample.cells.push(cell.trim().to_owned());
            }
        }
    }
    let names: Vec<String> = samples.iter().map(|sample| sample.name.clone()).collect();
    let (kind, _) = likely_kind(&names);
    let mut text = String::new();
    head(&mut text, kind, &stem, &samples, delimiter);
    let used = columns(&mut text, kind, &samples);
    words(&mut text, &used);
    Ok(text)
}

fn head(text: &mut String, kind: DumpKind, stem: &str, samples: &[Sample], delimiter: Option<u8>) {
    let mut line = |words: String| {
        text.push_str(&words);
        text.push('\n');
    };
    line(
        "# A first mapping, made from the file's header and first rows: check every line."
            .to_owned(),
    );
    line(format!("kind = {}", quote(kind.name())));
    line(format!("name = {}", quote(stem)));
    line("# shop = \"the shop's name\"".to_owned());
    line(
        "# time_zone = \"America/Chicago\"   # where local times are from; UTC if not said"
            .to_owned(),
    );
    if let Some(delimiter) = delimiter {
        line(format!(
            "delimiter = {}",
            quote(&char::from(delimiter).to_string())
        ));
    }
    if decimal_comma(kind, samples) {
        line("decimal_mark = \",\"".to_owned());
        line("# thousands_mark = \".\"".to_owned());
    }
    let given = |field: &str| {
        samples
            .iter()
            .any(|sample| field_of(kind, sample).is_some_and(|(likely, _)| likely == field))
    };
    let missing: Vec<&str> = kind
        .fields()
        .iter()
        .filter(|field| kind.must_have(field) && !given(field.name))
        .map(|field| field.name)
        .collect();
    if !missing.is_empty() {
        line("\n[constants]   # no column was found for these; name the column below, or the value here".to_owned());
        for field in missing {
            line(format!("# {field} = \"\""));
        }
    }
}

/// Whether the cells of number columns are numbers by a decimal comma more often than by a point.
fn decimal_comma(kind: DumpKind, samples: &[Sample]) -> bool {
    let is_number = |sample: &&Sample| {
        field_of(kind, sample).is_some_and(|(field, _)| {
            matches!(meaning(field), Meaning::Number(_) | Meaning::Reading)
        })
    };
    let cells: Vec<&String> = samples
        .iter()
        .filter(is_number)
        .flat_map(|sample| &sample.cells)
        .collect();
    let read = |decimal: char| {
        cells
            .iter()
            .filter(|cell| {
                leading_number(
                    cell,
                    Marks {
                        decimal,
                        thousands: None,
                    },
                )
                .is_ok()
            })
            .count()
    };
    read(',') > read('.')
}

/// Writes a section for each column; returns the fields that were given out, with their samples.
fn columns<'s>(
    text: &mut String,
    kind: DumpKind,
    samples: &'s [Sample],
) -> Vec<(&'static str, &'s Sample)> {
    let mut used: Vec<(&'static str, &Sample)> = Vec::new();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for sample in samples.iter().filter(|sample| !sample.name.is_empty()) {
        if !seen.insert(sample.name.to_lowercase()) {
            continue;
        }
        let _ = write!(text, "\n[columns.{}]", quote(&sample.name));
        if let Some(first) = sample.cells.first() {
            let shown: String = first
                .chars()
                .filter(|character| !character.is_control())
                .take(40)
                .collect();
            let _ = write!(text, "   # {shown}");
        }
        text.push('\n');
        match field_of(kind, sample) {
            Some((field, unit)) if free(field, sample, &used) => {
                let _ = writeln!(text, "field = {}", quote(field));
                if let Some(unit) = unit {
                    let _ = writeln!(text, "unit = {}", quote(unit));
                } else if let Some(quantity) = unit_to_say(field) {
                    let _ = writeln!(
                        text,
                        "# unit = {}   # say it if it is another",
                        quote(quantity)
                    );
                }
                if let Meaning::Reading = meaning(field) {
                    text.push_str("# measured_kind = \"CCA EN\"   # which kind of reading it is\n");
                }
                format_lines(text, field, sample);
                used.push((field, sample));
            }
            _ => text.push_str("ignore = true\n"),
        }
    }
    used
}

/// The field a column most likely is, by its name, or by cells that can be nothing else.
fn field_of(kind: DumpKind, sample: &Sample) -> Option<(&'static str, Option<&'static str>)> {
    let mostly = |is: &dyn Fn(&String) -> bool| {
        let fitting = sample.cells.iter().filter(|cell| is(cell)).count();
        fitting > 0 && fitting * 5 >= sample.cells.len() * 4
    };
    let told = if mostly(&|cell| Vin::parse(cell).is_ok()) {
        "vin"
    } else if mostly(&|cell| Code::parse(cell).is_ok()) {
        "code"
    } else {
        return likely_field(kind, &sample.name);
    };
    kind.has_field(told).then_some((told, None))
}

/// Whether the field may be given to one more column: once, but dates may be joined with a time.
fn free(field: &str, sample: &Sample, used: &[(&'static str, &Sample)]) -> bool {
    let holders: Vec<&&Sample> = used
        .iter()
        .filter(|(known, _)| *known == field)
        .map(|(_, sample)| sample)
        .collect();
    match holders.as_slice() {
        [] => true,
        [holder] if matches!(meaning(field), Meaning::Instant(_)) => {
            is_time(sample) != is_time(holder)
        }
        _ => false,
    }
}

fn unit_to_say(field: &str) -> Option<&'static str> {
    match meaning(field) {
        Meaning::Number(quantity) => quantity.dimension.map(|dimension| dimension.symbol()),
        _ => None,
    }
}

fn is_time(sample: &Sample) -> bool {
    !sample.cells.is_empty() && !times(&sample.cells).is_empty()
}

/// Time formats that fit all cells.
fn times(cells: &[String]) -> Vec<String> {
    let fits = |pattern: &&&str| {
        cells
            .iter()
            .all(|cell| NaiveTime::parse_from_str(cell, pattern).is_ok())
    };
    TIMES
        .iter()
        .filter(fits)
        .map(|pattern| (*pattern).to_owned())
        .collect()
}

/// Date formats that fit nearly all cells; a dump's few slips shall not hide its format.
fn dates(cells: &[String]) -> Vec<String> {
    let mut fitting = Vec::new();
    for day in DAYS {
        let joined = TIMES.iter().map(|time| format!("{day} {time}"));
        for pattern in std::iter::once((*day).to_owned()).chain(joined) {
            let Ok(formats) = Formats::new(std::slice::from_ref(&pattern)) else {
                continue;
            };
            let read = cells
                .iter()
                .filter(|cell| formats.day(cell).is_ok())
                .count();
            if read > 0 && read * 20 >= cells.len() * 19 {
                fitting.push(pattern);
            }
        }
    }
    fitting
}

fn format_lines(text: &mut String, field: &str, sample: &Sample) {
    let (Meaning::Day(_) | Meaning::Instant(_)) = meaning(field) else {
        return;
    };
    let iso = Formats::default();
    if sample.cells.iter().all(|cell| iso.day(cell).is_ok()) {
        return;
    }
    let mut fitting = dates(&sample.cells);
    if fitting.is_empty() {
        fitting = times(&sample.cells);
    }
    match fitting.as_slice() {
        [] => text.push_str("# format = \"%d.%m.%Y\"   # how its dates are written\n"),
        [only] => {
            let _ = writeln!(text, "format = {}", quote(only));
        }
        [first, others @ ..] => {
            let _ = writeln!(
                text,
                "format = {}   # or {}: the first rows do not tell",
                quote(first),
                others.join(", ")
            );
        }
    }
}

/// Lists the words of each closed list that the lake does not know.
fn words(text: &mut String, used: &[(&'static str, &Sample)]) {
    for (field, sample) in used {
        let Meaning::Word(list) = meaning(field) else {
            continue;
        };
        let unknown: BTreeSet<&String> = sample
            .cells
            .iter()
            .filter(|cell| (list.find)(cell).is_none())
            .collect();
        if unknown.is_empty() {
            continue;
        }
        let _ = writeln!(text, "\n[words.{field}]   # {}", (list.all)().join(", "));
        for word in unknown.iter().take(50) {
            let _ = writeln!(text, "# {} = \"\"", quote(word));
        }
    }
}

/// A basic TOML string.
fn quote(text: &str) -> String {
    let mut quoted = String::from('"');
    for character in text.chars() {
        match character {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\t' => quoted.push_str("\\t"),
            control if control.is_control() => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(control));
            }
            other => quoted.push(other),
        }
    }
    quoted.push('"');
    quoted
}
