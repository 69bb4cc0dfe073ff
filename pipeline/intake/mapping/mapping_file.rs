//! A mapping's file while it is read: what each of its sections asks of names and words.
//!
//! The sections themselves are read by [`mapping_columns`](super::mapping_columns),
//! [`mapping_form`](super::mapping_form) and [`mapping_toml`](super::mapping_toml).

use std::ops::Deref;

use super::names::nearest;
use super::toml_reader::TomlReader;
use crate::error::MappingError;
use crate::fields::cell;
use crate::fields::dump::DumpKind;
use crate::fields::meaning::{Meaning, meaning};

/// A mapping's file while it is read.
pub struct MappingFile<'t>(pub TomlReader<'t>);

impl<'t> Deref for MappingFile<'t> {
    type Target = TomlReader<'t>;

    fn deref(&self) -> &TomlReader<'t> {
        &self.0
    }
}

impl<'t> MappingFile<'t> {
    /// A field of the kind by its name.
    pub fn field(
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
    pub fn word(
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
