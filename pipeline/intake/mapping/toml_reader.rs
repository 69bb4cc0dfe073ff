//! Reads values out of a TOML table, and tells where in the file a wrong one stands.
//!
//! Knows nothing of mappings; what the keys mean is left to [`mapping_file`](super::mapping_file).

use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::names::nearest;
use crate::error::MappingError;

type Value<'t> = Spanned<DeValue<'t>>;

/// A TOML text and its file, for messages.
pub struct TomlReader<'t> {
    pub path: &'t Path,
    pub text: &'t str,
}

impl<'t> TomlReader<'t> {
    /// The whole text as a table.
    pub fn table(&self) -> Result<DeTable<'t>, MappingError> {
        let table = DeTable::parse(self.text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            let problem = format!("is not TOML ({})", error.message());
            self.error(at, "", problem, "mend the line")
        })?;
        Ok(table.into_inner())
    }

    pub fn known_key(
        &self,
        at: usize,
        before: &str,
        key: &str,
        known: &[&str],
    ) -> Result<(), MappingError> {
        if known.contains(&key) {
            return Ok(());
        }
        let remedy = match nearest(key, known.iter().copied()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("known keys are {}", known.join(", ")),
        };
        Err(self.error(
            at,
            &format!("{before}{key}"),
            "is not known".to_owned(),
            &remedy,
        ))
    }

    pub fn find<'v>(&self, table: &'v DeTable<'t>, key: &str) -> Option<(usize, &'v DeValue<'t>)> {
        let (name, value): (_, &Value<'t>) =
            table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some((name.span().start, value.get_ref()))
    }

    pub fn text_of<'v>(
        &self,
        table: &'v DeTable<'t>,
        key: &str,
    ) -> Result<Option<(usize, &'v str)>, MappingError> {
        match self.find(table, key) {
            None => Ok(None),
            Some((at, DeValue::String(text))) => Ok(Some((at, text))),
            Some((at, _)) => Err(self.error(at, key, "is no text".to_owned(), "put it in quotes")),
        }
    }

    /// One text or a list of texts.
    pub fn texts_of(&self, table: &DeTable<'t>, key: &str) -> Result<Vec<String>, MappingError> {
        let wrong = |at| {
            self.error(
                at,
                key,
                "is neither text nor a list of texts".to_owned(),
                "put each in quotes",
            )
        };
        match self.find(table, key) {
            None => Ok(Vec::new()),
            Some((_, DeValue::String(text))) => Ok(vec![text.to_string()]),
            Some((at, DeValue::Array(list))) => list
                .iter()
                .map(|item| {
                    item.get_ref()
                        .as_str()
                        .map(str::to_owned)
                        .ok_or_else(|| wrong(at))
                })
                .collect(),
            Some((at, _)) => Err(wrong(at)),
        }
    }

    pub fn flag_of(
        &self,
        table: &DeTable<'t>,
        before: &str,
        key: &str,
    ) -> Result<bool, MappingError> {
        match self.find(table, key) {
            None => Ok(false),
            Some((_, DeValue::Boolean(flag))) => Ok(*flag),
            Some((at, _)) => Err(self.error(
                at,
                &format!("{before}.{key}"),
                "is not true or false".to_owned(),
                "say true or false",
            )),
        }
    }

    /// Name, place and value of all entries of a sub-table, in the order of the file.
    pub fn entries<'v>(
        &self,
        table: &'v DeTable<'t>,
        key: &str,
    ) -> Result<Vec<(&'v str, usize, &'v DeValue<'t>)>, MappingError> {
        let entries = match self.find(table, key) {
            None => return Ok(Vec::new()),
            Some((_, DeValue::Table(entries))) => entries,
            Some((at, _)) => {
                return Err(self.error(at, key, "is no table".to_owned(), "make it a [section]"));
            }
        };
        let mut list: Vec<_> = entries
            .iter()
            .map(|(name, value)| (name.get_ref().as_ref(), name.span().start, value.get_ref()))
            .collect();
        list.sort_by_key(|(_, at, _)| *at);
        Ok(list)
    }

    pub fn error(&self, at: usize, key: &str, problem: String, remedy: &str) -> MappingError {
        let before = self.text.get(..at).unwrap_or(self.text);
        MappingError {
            file: self.path.to_owned(),
            line: before.matches('\n').count() + 1,
            key: key.to_owned(),
            problem,
            remedy: remedy.to_owned(),
        }
    }
}
