//! A first mapping for a file, to be edited.
//!
//! Kind and fields are the likeliest by the columns' names and by what stands in them; date formats,
//! decimal mark and words are those that fit the first rows. What is not sure stands in a comment. A
//! column that suggests nothing is left to decide: the mapping does not name it, so that every load says
//! that it is not used, until somebody gives it a field or has it ignored. Fails as reading the file does.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

use super::date_forms::{dates, is_time, times};
use super::error::IntakeError;
use super::fields::dump::DumpKind;
use super::fields::meaning::{Meaning, meaning};
use super::fields::moment::Formats;
use super::fields::number::{Marks, leading_number};
use super::files::container::{failed, visit_parts};
use super::forms::record::{Record, Step};
use super::forms::text::Layout;
use super::guess::{Guess, Sample, guess, hint, kind_of};
use super::mapping::shop_mapping::Mapping;
use super::source::{Source, visit_sources};
use settings::Limits;

/// Rows that formats and words are found from.
const ROWS: usize = 500;

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
    let kind = kind_of(&samples);
    let mut text = String::new();
    let guesses = guess(kind, &samples);
    let guessed: Vec<(&Sample, Guess)> = samples.iter().zip(guesses).collect();
    head(&mut text, kind, &stem, &guessed, delimiter);
    let used = columns(&mut text, kind, &guessed);
    words(&mut text, &used);
    Ok(text)
}

fn head(
    text: &mut String,
    kind: DumpKind,
    stem: &str,
    guessed: &[(&Sample, Guess)],
    delimiter: Option<u8>,
) {
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
    if decimal_comma(guessed) {
        line("decimal_mark = \",\"".to_owned());
        line("# thousands_mark = \".\"".to_owned());
    }
    let given = |field: &str| {
        guessed
            .iter()
            .any(|(_, guess)| guess.is_some_and(|(likely, _)| likely == field))
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
fn decimal_comma(guessed: &[(&Sample, Guess)]) -> bool {
    let is_number = |guess: &Guess| {
        guess.is_some_and(|(field, _)| {
            matches!(meaning(field), Meaning::Number(_) | Meaning::Reading)
        })
    };
    let cells: Vec<&String> = guessed
        .iter()
        .filter(|(_, guess)| is_number(guess))
        .flat_map(|(sample, _)| &sample.cells)
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
    guessed: &[(&'s Sample, Guess)],
) -> Vec<(&'static str, &'s Sample)> {
    let mut used: Vec<(&'static str, &Sample)> = Vec::new();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for (sample, guess) in guessed {
        if sample.name.is_empty() || !seen.insert(sample.name.to_lowercase()) {
            continue;
        }
        let chosen = guess.filter(|(field, _)| free(field, sample, &used));
        if chosen.is_none() {
            let _ = write!(
                text,
                "\n# to decide: {}\n# ",
                match perhaps(kind, sample, guessed) {
                    Some(field) => format!("perhaps field = {}, else ignore = true", quote(field)),
                    None => "a field, or ignore = true".to_owned(),
                }
            );
        } else {
            text.push('\n');
        }
        let _ = write!(text, "[columns.{}]", quote(&sample.name));
        if let Some(first) = sample.cells.first() {
            let shown: String = first
                .chars()
                .filter(|character| !character.is_control())
                .take(40)
                .collect();
            let _ = write!(text, "   # {shown}");
        }
        text.push('\n');
        match chosen {
            Some((field, unit)) => {
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
            None => {}
        }
    }
    used
}

/// What an order's column of few words may be, where none of the trade's lists knows them.
fn perhaps(kind: DumpKind, sample: &Sample, guessed: &[(&Sample, Guess)]) -> Option<&'static str> {
    let given = |field: &str| {
        guessed
            .iter()
            .any(|(_, guess)| guess.is_some_and(|(known, _)| known == field))
    };
    let few_words = sample.is_list_of_words();
    ["operation", "cause", "complaint"]
        .into_iter()
        .find(|field| few_words && kind.has_field(field) && !given(field))
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
            is_time(&sample.cells) != is_time(&holder.cells)
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
            let _ = match hint(&list, word) {
                Some(likely) => writeln!(text, "{} = {}   # check", quote(word), quote(likely)),
                None => writeln!(text, "# {} = \"\"", quote(word)),
            };
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
