//! A mapping's `[columns]`: which field each is, in which unit, format or kind of reading.

use toml::de::DeTable;

use super::mapping_file::MappingFile;
use super::shop_mapping::{ColumnRule, Mapping, same_name};
use crate::error::MappingError;
use crate::fields::dump::DumpKind;
use crate::fields::meaning::{Meaning, meaning, reading};
use crate::fields::moment::Formats;
use crate::fields::unit::Unit;

const COLUMN_KEYS: &[&str] = &[
    "field",
    "unit",
    "format",
    "measured_kind",
    "ignore",
    "optional",
];

impl<'t> MappingFile<'t> {
    /// Reads what each column is, in the order of the file.
    pub fn columns(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
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
}
