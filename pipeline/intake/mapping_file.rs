//! Reads a mapping from TOML.
//!
//! Strict: an unknown key, field, unit or word is an error with its line and what to do, because a
//! mapping that is half understood would load half-right data. What the file looks like stands in
//! README.md.

use std::ops::Deref;
use std::path::Path;

use chrono_tz::Tz;
use regex::Regex;
use toml::de::{DeTable, DeValue};

use super::cell;
use super::dump::DumpKind;
use super::encoding::Coding;
use super::error::MappingError;
use super::mapping::{ColumnRule, Mapping, TextForm, same_name};
use super::meaning::{Meaning, meaning, reading};
use super::moment::Formats;
use super::names::nearest;
use super::report_text::ReportPattern;
use super::scan_log;
use super::toml_reader::TomlReader;
use super::unit::Unit;
use super::words::ShopWords;

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
    "form",
    "report",
    "constants",
    "columns",
    "words",
];
const REPORT_KEYS: &[&str] = &["starts", "lines", "row"];
const COLUMN_KEYS: &[&str] = &[
    "field",
    "unit",
    "format",
    "measured_kind",
    "ignore",
    "optional",
];

/// Reads a mapping's text; `path` is for messages.
pub fn parse(path: &Path, text: &str) -> Result<Mapping, MappingError> {
    let file = MappingFile(TomlReader { path, text });
    file.mapping(&file.table()?)
}

/// A mapping's file while it is read.
struct MappingFile<'t>(TomlReader<'t>);

impl<'t> Deref for MappingFile<'t> {
    type Target = TomlReader<'t>;

    fn deref(&self) -> &TomlReader<'t> {
        &self.0
    }
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

    fn columns(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        for (name, at, value) in self.entries(table, "columns")? {
            let key = format!("columns.\"{name}\"");
            let Some(settings) = value.as_table() else {
                return Err(self.error(
                    at,
                    &key,
                    "is no table".to_owned(),
                    "say what `field` it is, or `ignore = true`",
                ));
            };
            for setting in settings.keys() {
                self.known_key(
                    setting.span().start,
                    &format!("{key}."),
                    setting.get_ref(),
                    COLUMN_KEYS,
                )?;
            }
            if mapping
                .columns
                .iter()
                .any(|rule| same_name(&rule.column, name))
            {
                return Err(self.error(
                    at,
                    &key,
                    "stands twice but for case".to_owned(),
                    "keep one of the two",
                ));
            }
            let rule = self.column(mapping.kind, name, at, &key, settings)?;
            mapping.columns.push(rule);
        }
        Ok(())
    }

    fn column(
        &self,
        kind: DumpKind,
        name: &str,
        at: usize,
        key: &str,
        settings: &DeTable<'t>,
    ) -> Result<ColumnRule, MappingError> {
        let mut rule = ColumnRule::plain(name, None);
        rule.optional = self.flag_of(settings, key, "optional")?;
        if self.flag_of(settings, key, "ignore")? {
            return Ok(rule);
        }
        let Some((field_at, field)) = self.text_of(settings, "field")? else {
            return Err(self.error(
                at,
                key,
                "names no field".to_owned(),
                "say what `field` it is, or `ignore = true`",
            ));
        };
        let field = self.field(kind, field_at, &format!("{key}.field"), field)?;
        rule.field = Some(field);
        if let Some((at, word)) = self.text_of(settings, "measured_kind")? {
            let key = format!("{key}.measured_kind");
            if field != "measured_value" {
                return Err(self.error(at, &key, format!("{field} is no reading"), "leave it out"));
            }
            rule.measured_kind = Some(self.word(at, &key, "measured_kind", word)?);
        }
        if let Some((at, unit)) = self.text_of(settings, "unit")? {
            let key = format!("{key}.unit");
            if unit == "hex" && matches!(meaning(field), Meaning::Whole { .. }) {
                rule.hexadecimal = true;
            } else {
                self.unit(at, &key, field, rule.measured_kind, unit)?;
                rule.unit = Some(unit.to_owned());
            }
        }
        let patterns = self.texts_of(settings, "format")?;
        if let Some((at, _)) = self.find(settings, "format") {
            let key = format!("{key}.format");
            let (Meaning::Day(_) | Meaning::Instant(_)) = meaning(field) else {
                return Err(self.error(at, &key, format!("{field} is no date"), "leave it out"));
            };
            rule.formats = Formats::new(&patterns).map_err(|pattern| {
                let problem = format!("\"{pattern}\" is no strftime pattern");
                self.error(at, &key, problem, "say it like \"%d.%m.%Y %H:%M\"")
            })?;
        }
        Ok(rule)
    }

    fn unit(
        &self,
        at: usize,
        key: &str,
        field: &'static str,
        measured_kind: Option<&str>,
        unit: &str,
    ) -> Result<(), MappingError> {
        let dimension = match meaning(field) {
            Meaning::Number(quantity) => quantity.dimension,
            Meaning::Reading => match measured_kind.and_then(reading) {
                Some(quantity) => quantity.dimension,
                // The kind stands in each row, so the unit is checked there.
                None if Unit::exists(unit) => return Ok(()),
                None => None,
            },
            _ => None,
        };
        match dimension {
            Some(dimension) if Unit::find(unit, dimension).is_some() => Ok(()),
            Some(dimension) => {
                let problem = format!("{field} has no unit \"{unit}\"");
                Err(self.error(
                    at,
                    key,
                    problem,
                    &format!("say one of {}", Unit::names(dimension)),
                ))
            }
            None => Err(self.error(
                at,
                key,
                format!("{field} has no unit \"{unit}\""),
                "leave it out",
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

    /// The patterns of a report, or a diagnostic log; their columns are fields by name where no
    /// `[columns]` says otherwise.
    fn form(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        let report = self.find(table, "report");
        let columns = match (self.text_of(table, "form")?, report) {
            (None, None) | (Some((_, "table")), None) => return Ok(()),
            (None | Some((_, "report")), Some((at, settings))) => {
                let Some(settings) = settings.as_table() else {
                    return Err(self.error(
                        at,
                        "report",
                        "is no table".to_owned(),
                        "make it a [report]",
                    ));
                };
                let pattern = self.report(at, settings)?;
                let columns = pattern.columns();
                mapping.form = TextForm::Report(pattern);
                columns
            }
            (Some((_, "diagnostic log")), None) if mapping.kind == DumpKind::CodeScan => {
                mapping.form = TextForm::DiagnosticLog;
                scan_log::COLUMNS
                    .iter()
                    .map(|name| (*name).to_owned())
                    .collect()
            }
            (Some((at, form)), _) => {
                let problem =
                    format!("\"{form}\" does not go with the kind and sections of this mapping");
                let remedy = "say \"table\", \"diagnostic log\" for kind code_scan, or \"report\" with a [report]";
                return Err(self.error(at, "form", problem, remedy));
            }
        };
        for column in columns {
            if mapping.columns.iter().any(|rule| rule.is_column(&column)) {
                continue;
            }
            let at = self.find(table, "report").map_or(0, |(at, _)| at);
            let field = self.field(
                mapping.kind,
                at,
                &format!("report, group {column}"),
                &column,
            )?;
            mapping
                .columns
                .push(ColumnRule::plain(&column, Some(field)));
        }
        Ok(())
    }

    fn report(&self, at: usize, settings: &DeTable<'t>) -> Result<ReportPattern, MappingError> {
        for setting in settings.keys() {
            self.known_key(
                setting.span().start,
                "report.",
                setting.get_ref(),
                REPORT_KEYS,
            )?;
        }
        let patterns = |key: &str| -> Result<Vec<Regex>, MappingError> {
            let texts = self.texts_of(settings, key)?;
            let at = self.find(settings, key).map_or(0, |(at, _)| at);
            let wrong = |error: regex::Error| {
                let problem = error
                    .to_string()
                    .lines()
                    .last()
                    .unwrap_or_default()
                    .to_owned();
                self.error(
                    at,
                    &format!("report.{key}"),
                    problem,
                    "mend the regular expression",
                )
            };
            texts
                .iter()
                .map(|text| Regex::new(text).map_err(wrong))
                .collect()
        };
        let pattern = ReportPattern {
            starts: patterns("starts")?.into_iter().next(),
            lines: patterns("lines")?,
            row: patterns("row")?.into_iter().next(),
        };
        if pattern.columns().is_empty() {
            let remedy = "name groups like the fields: 'VIN: (?<vin>\\S+)'";
            return Err(self.error(
                at,
                "report",
                "has no pattern with a named group".to_owned(),
                remedy,
            ));
        }
        Ok(pattern)
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

    fn field(
        &self,
        kind: DumpKind,
        at: usize,
        key: &str,
        name: &str,
    ) -> Result<&'static str, MappingError> {
        let fields = kind.fields();
        if let Some(field) = fields.iter().find(|field| field.name == name.trim()) {
            return Ok(field.name);
        }
        let remedy = match nearest(name, fields.iter().map(|field| field.name)) {
            Some(near) => format!("did you mean {near}?"),
            None => {
                let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
                format!("its fields are {}", names.join(", "))
            }
        };
        Err(self.error(
            at,
            key,
            format!("{} has no field \"{name}\"", kind.name()),
            &remedy,
        ))
    }

    /// The stored spelling of a word of the field's list.
    fn word(
        &self,
        at: usize,
        key: &str,
        field: &str,
        word: &str,
    ) -> Result<&'static str, MappingError> {
        let (list, all, found) = match meaning(field) {
            Meaning::Word(list) => (list.name, (list.all)().join(", "), (list.find)(word)),
            _ => (
                "yes or no",
                "yes, no".to_owned(),
                cell::flag(word).map(|flag| if flag { "yes" } else { "no" }),
            ),
        };
        found.ok_or_else(|| {
            self.error(
                at,
                key,
                format!("\"{word}\" is no {list}"),
                &format!("say one of {all}"),
            )
        })
    }
}
