//! The set of mappings a load knows.
//!
//! Finding the one that a header asks for is left to [`recognise`](super::recognise).

use std::path::Path;
use std::sync::Arc;

use settings::{Limits, text_file};

use super::mapping_toml;
use super::shop_mapping::Mapping;
use crate::error::IntakeError;

/// The mappings a load knows, and how much of a file it reads. Files in the lake's own column names
/// need no mapping.
#[derive(Debug, Clone, Default)]
pub struct Mappings {
    list: Vec<Arc<Mapping>>,
    pub limits: Limits,
}

impl Mappings {
    /// No mapping but the lake's own column names.
    pub fn builtin() -> Self {
        Self::default()
    }

    /// As [`Self::builtin`], with limits of the user's own.
    pub fn within(limits: &Limits) -> Self {
        Self {
            list: Vec::new(),
            limits: limits.clone(),
        }
    }

    /// Reads a mapping file. One of the same content, read before, is not added again.
    pub fn read_toml(&mut self, path: &Path) -> Result<(), IntakeError> {
        let text = text_file::read(path).map_err(|source| IntakeError::Unreadable {
            file: path.to_owned(),
            source,
        })?;
        self.add_toml(path, &text)
    }

    /// Reads a mapping from its text; `path` is for messages.
    pub fn add_toml(&mut self, path: &Path, text: &str) -> Result<(), IntakeError> {
        let mapping = mapping_toml::parse(path, text)?;
        // A mapping may lie beside the dumps and in the lake's own folder, too.
        let shown = |mapping: &Mapping| {
            format!(
                "{:?}",
                Mapping {
                    file: None,
                    ..mapping.clone()
                }
            )
        };
        let same =
            |known: &Arc<Mapping>| known.name == mapping.name && shown(known) == shown(&mapping);
        if !self.list.iter().any(same) {
            self.list.push(Arc::new(mapping));
        }
        Ok(())
    }

    pub fn iter(&self) -> impl Iterator<Item = &Arc<Mapping>> {
        self.list.iter()
    }

    pub fn len(&self) -> usize {
        self.list.len()
    }

    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}
