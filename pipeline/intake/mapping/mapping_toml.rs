//! Reads a mapping from TOML.
//!
//! Strict: an unknown key, field, unit or word is an error with its line and what to do, because a
//! mapping that is half understood would load half-right data. Its sections are read by
//! [`mapping_columns`](super::mapping_columns) and [`mapping_form`](super::mapping_form). What the
//! file looks like stands in README.md.

use std::path::Path;

use chrono_tz::Tz;
use toml::de::{DeTable, DeValue};

use super::mapping_file::MappingFile;
use super::shop_mapping::Mapping;
use super::toml_reader::TomlReader;
use crate::error::MappingError;
use crate::fields::cell;
use crate::fields::dump::DumpKind;
use crate::fields::meaning::{Meaning, meaning};
use crate::fields::words::ShopWords;
use crate::files::encoding::Coding;
use trade::date_code::{DateCodeError, DatePattern};

const KEYS: &[&str] = &[
    "kind",
    "name",
    "shop",
    "files",
    "delimiter",
    "decimal_mark",
    "thousands_mark",
    "time_zone",
    "encoding",
    "skip_lines",
    "blank",
    "date_code_pattern",
    "form",
    "report",
    "constants",
    "columns",
    "words",
];

/// Reads a mapping's text; `path` is for messages.
pub fn parse(path: &Path, text: &str) -> Result<Mapping, MappingError> {
    let file = MappingFile(TomlReader { path, text });
    file.mapping(&file.table()?)
}

impl<'t> MappingFile<'t> {
    fn mapping(&self, table: &DeTable<'t>) -> Result<Mapping, MappingError> {
        for key in table.keys() {
            self.known_key(key.span().start, "", key.get_ref(), KEYS)?;
        }
        let kind = self.kind(table)?;
        let stem = self
            .path
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
            .unwrap_or_default();
        let mut mapping = Mapping::new(&stem, kind);
        mapping.file = Some(self.path.to_owned());
        if let Some(name) = self.text_of(table, "name")? {
            mapping.name = name.1.to_owned();
        }
        mapping.shop = self
            .text_of(table, "shop")?
            .map(|(_, shop)| shop.to_owned());
        mapping.files = self.texts_of(table, "files")?;
        mapping.blanks = self
            .texts_of(table, "blank")?
            .iter()
            .map(|word| word.trim().to_lowercase())
            .collect();
        if let Some((at, pattern)) = self.text_of(table, "date_code_pattern")? {
            let wrong = |error: DateCodeError| {
                let remedy = "say it like '(?<year>\\d\\d)(?<week>\\d\\d)'";
                self.error(at, "date_code_pattern", error.to_string(), remedy)
            };
            mapping.date_code = Some(DatePattern::new(pattern).map_err(wrong)?);
        }
        self.layout(table, &mut mapping)?;
        self.columns(table, &mut mapping)?;
        self.form(table, &mut mapping)?;
        self.words(table, &mut mapping)?;
        self.constants(table, &mut mapping)?;
        self.nothing_missing(&mapping)?;
        Ok(mapping)
    }

    fn kind(&self, table: &DeTable<'t>) -> Result<DumpKind, MappingError> {
        let names: Vec<&str> = DumpKind::ALL.iter().map(|kind| kind.name()).collect();
        let remedy = format!("say kind = one of {}", names.join(", "));
        match self.text_of(table, "kind")? {
            Some((at, name)) => DumpKind::parse(name).ok_or_else(|| {
                self.error(
                    at,
                    "kind",
                    format!("\"{name}\" is no kind of dump"),
                    &remedy,
                )
            }),
            None => Err(self.error(0, "kind", "is missing".to_owned(), &remedy)),
        }
    }

    fn layout(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        if let Some((at, text)) = self.text_of(table, "delimiter")? {
            match text.as_bytes() {
                [byte] if byte.is_ascii() && !matches!(byte, b'"' | b'\n' | b'\r') => {
                    mapping.layout.delimiter = Some(*byte);
                }
                _ => {
                    let problem = format!("\"{text}\" is not one ASCII character");
                    return Err(self.error(
                        at,
                        "delimiter",
                        problem,
                        "say delimiter = \";\" or \"\\t\"",
                    ));
                }
            }
        }
        if let Some((at, text)) = self.text_of(table, "decimal_mark")? {
            mapping.marks.decimal = self.mark(at, "decimal_mark", text)?;
        }
        if let Some((at, text)) = self.text_of(table, "thousands_mark")? {
            let mark = self.mark(at, "thousands_mark", text)?;
            if mark == mapping.marks.decimal {
                let problem = format!("\"{text}\" is the decimal mark too");
                return Err(self.error(
                    at,
                    "thousands_mark",
                    problem,
                    "name the decimal_mark, or leave it out",
                ));
            }
            mapping.marks.thousands = Some(mark);
        }
        if let Some((at, text)) = self.text_of(table, "time_zone")? {
            mapping.zone = text.parse::<Tz>().map_err(|_| {
                let problem = format!("\"{text}\" is no IANA time zone");
                self.error(at, "time_zone", problem, "say it like \"America/Chicago\"")
            })?;
        }
        if let Some((at, text)) = self.text_of(table, "encoding")? {
            mapping.layout.coding = Some(Coding::named(text).ok_or_else(|| {
                let problem = format!("\"{text}\" is no encoding that is read");
                self.error(
                    at,
                    "encoding",
                    problem,
                    "say it like \"utf-8\", \"utf-16le\" or \"windows-1252\"",
                )
            })?);
        }
        if let Some((at, value)) = self.find(table, "skip_lines") {
            let lines = value
                .as_integer()
                .and_then(|number| number.as_str().parse::<usize>().ok());
            mapping.layout.skip_lines = lines.filter(|lines| *lines <= 1000).ok_or_else(|| {
                self.error(
                    at,
                    "skip_lines",
                    "is no number from 0 to 1000".to_owned(),
                    "say skip_lines = 3",
                )
            })?;
        }
        Ok(())
    }

    fn mark(&self, at: usize, key: &str, text: &str) -> Result<char, MappingError> {
        let mut chars = text.chars();
        match (chars.next(), chars.next()) {
            (Some(mark), None) if !mark.is_alphanumeric() && mark != '-' && mark != '+' => Ok(mark),
            _ => Err(self.error(
                at,
                key,
                format!("\"{text}\" is not one mark"),
                "say it like \",\"",
            )),
        }
    }

    fn words(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        for (name, at, value) in self.entries(table, "words")? {
            let field = self.field(mapping.kind, at, &format!("words.{name}"), name)?;
            let Some(list) = value.as_table() else {
                let remedy = "list words like \"Wet\" = \"flooded\" below it";
                return Err(self.error(
                    at,
                    &format!("words.{name}"),
                    "is no table".to_owned(),
                    remedy,
                ));
            };
            let mut words = ShopWords::default();
            for (shop_word, our_word) in list {
                let key = format!("words.{name}.\"{}\"", shop_word.get_ref());
                let at = our_word.span().start;
                let Some(our_word) = our_word.get_ref().as_str() else {
                    return Err(self.error(
                        at,
                        &key,
                        "is no text".to_owned(),
                        "put the word in quotes",
                    ));
                };
                if let Meaning::Word(_) | Meaning::Flag = meaning(field) {
                    self.word(at, &key, field, our_word)?;
                }
                words.add(shop_word.get_ref(), our_word);
            }
            mapping.words.insert(field, words);
        }
        Ok(())
    }

    fn constants(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        for (name, at, value) in self.entries(table, "constants")? {
            let key = format!("constants.{name}");
            let field = self.field(mapping.kind, at, &key, name)?;
            let text = match value {
                DeValue::String(text) => text.to_string(),
                DeValue::Integer(number) => number.as_str().to_owned(),
                DeValue::Float(number) => number.as_str().to_owned(),
                DeValue::Boolean(flag) => flag.to_string(),
                DeValue::Datetime(moment) => moment.to_string(),
                DeValue::Array(_) | DeValue::Table(_) => {
                    return Err(self.error(
                        at,
                        &key,
                        "is no single value".to_owned(),
                        "give one value",
                    ));
                }
            };
            cell::check_constant(field, &text, mapping.zone)
                .map_err(|problem| self.error(at, &key, problem, "write it as the lake would"))?;
            mapping.constants.insert(field, text);
        }
        Ok(())
    }

    /// Every field that a row cannot do without comes from a column or a constant.
    fn nothing_missing(&self, mapping: &Mapping) -> Result<(), MappingError> {
        let given = |name: &str| {
            mapping.constants.contains_key(name)
                || mapping.columns.iter().any(|rule| rule.field == Some(name))
        };
        for field in mapping.kind.fields() {
            if mapping.kind.must_have(field) && !given(field.name) {
                let problem = format!("no column gives {} ({})", field.name, field.about);
                let remedy = "say which column it is, or give it in [constants]";
                let at = self.text.find("[columns").unwrap_or(0);
                return Err(self.error(at, "columns", problem, remedy));
            }
        }
        Ok(())
    }
}
