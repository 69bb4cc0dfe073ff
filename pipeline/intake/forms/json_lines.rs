//! JSON lines as records: one object a line, its keys the columns.
//!
//! The columns are the keys of the objects at the file's start; a key that comes up only later is
//! not read. An object in an object is `outer.inner`. A line that is no object is at fault alone; a last
//! one that has no end and breaks off is unfinished.

use std::io;

use serde_json::{Map, Value};

use super::record::{Record, Records, Step};
use super::workbook::number_text;
use crate::fault::Fault;
use crate::files::lines::Lines;

/// The keys of the objects in a text's start, in the order they come up.
pub fn header(mut lines: Lines<'_>) -> Vec<String> {
    let mut keys: Vec<String> = Vec::new();
    while let Ok(Some(line)) = lines.next() {
        if let Ok(object) = serde_json::from_str::<Map<String, Value>>(&line.text) {
            visit(&object, "", &mut |key, _| {
                if !keys.contains(&key) {
                    keys.push(key);
                }
            });
        }
    }
    keys
}

/// The objects of a text, as cells under `header`.
pub struct JsonLines<'r> {
    pub lines: Lines<'r>,
    pub header: Vec<String>,
    pub decimal: char,
    /// Objects that may stand within each other.
    pub most_depth: usize,
}

impl Records for JsonLines<'_> {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        while let Some(line) = self.lines.next()? {
            if line.text.trim().is_empty() {
                continue;
            }
            record.start(line.number);
            record.raw.push_str(&line.text);
            if let Some(fault) = line.fault {
                return Ok(Some(Step::Bad(fault)));
            }
            let object = match serde_json::from_str::<Map<String, Value>>(&line.text) {
                Ok(object) => object,
                Err(error) if error.is_eof() && !line.ended => {
                    return Ok(Some(Step::Unfinished));
                }
                Err(error) => {
                    return Ok(Some(Step::Bad(Fault::line(
                        "not a JSON object",
                        error.to_string(),
                    ))));
                }
            };
            if depth(&object) > self.most_depth {
                return Ok(Some(Step::Bad(Fault::line(
                    "too deep",
                    format!(
                        "more than {} objects within each other (limits.json_depth)",
                        self.most_depth
                    ),
                ))));
            }
            let mut cells = vec![String::new(); self.header.len()];
            visit(&object, "", &mut |key, value| {
                if let Some(place) = self.header.iter().position(|name| *name == key) {
                    cells[place] = text(value, self.decimal);
                }
            });
            for cell in cells {
                record.push(&cell);
            }
            return Ok(Some(Step::Row));
        }
        Ok(None)
    }
}

/// How many objects stand within each other; the reader of JSON lets no text past 128.
fn depth(object: &Map<String, Value>) -> usize {
    let inner = object.values().map(|value| match value {
        Value::Object(inner) => depth(inner),
        _ => 0,
    });
    1 + inner.max().unwrap_or(0)
}

/// Gives each value with its key; those of inner objects with the outer key before a point.
fn visit(object: &Map<String, Value>, outer: &str, give: &mut dyn FnMut(String, &Value)) {
    for (key, value) in object {
        let key = if outer.is_empty() {
            key.clone()
        } else {
            format!("{outer}.{key}")
        };
        match value {
            Value::Object(inner) => visit(inner, &key, give),
            value => give(key, value),
        }
    }
}

fn text(value: &Value, decimal: char) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Number(number) => number_text(&number.to_string(), decimal),
        other => other.to_string(),
    }
}
