//! The one configuration: typed, every value with a documented default, all of it optional.
//!
//! It is read from `voltwane.toml` in the lake's folder or from the file the user names. A key that
//! is not known, a value of another kind or out of its bound is an error with its line, so a misspelt
//! one does not silently keep its default. Every plain value is also a parameter of the SQL queries
//! under its own name (`horizon_days` is `$horizon_days`).

#[macro_use]
mod declare;
mod check;
pub mod limits;
mod listing;
mod merge;
mod options;
#[cfg(test)]
mod tests;
pub mod text_file;

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use toml::de::DeTable;

pub use check::Problem;
pub use declare::{Bound, Opt, Shape};
pub use listing::Listed;
pub use options::{
    Comeback, Cost, DepotPlan, Flood, Limits, OPTIONS, Plan, Recovery, Risk, Run, Screen, Settings,
    Test, WeekLimits,
};

/// Why a configuration could not be used.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    #[error("the configuration {path} could not be read: {source}")]
    Read {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("the configuration {path} is not right: {source}")]
    Parse {
        path: PathBuf,
        #[source]
        source: Box<toml::de::Error>,
    },
    #[error("the configuration {path} is not right: {}", told(problems))]
    Values {
        path: PathBuf,
        problems: Vec<Problem>,
    },
}

fn told(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    lines.join("; ")
}

/// Where a value was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    pub path: PathBuf,
    pub line: usize,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, line {}", self.path.display(), self.line)
    }
}

/// The values that are not defaults, by key.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Given(BTreeMap<String, Place>);

impl Settings {
    /// Reads a configuration file.
    pub fn read(path: &Path) -> Result<Self, SettingsError> {
        let text = text_file::read(path).map_err(|source| SettingsError::Read {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text, path)
    }

    /// The settings a configuration's text gives; `path` names it in errors and sources.
    pub fn parse(text: &str, path: &Path) -> Result<Self, SettingsError> {
        let parse = |source: toml::de::Error| SettingsError::Parse {
            path: path.to_owned(),
            source: Box::new(source),
        };
        let spanned = DeTable::parse(text).map_err(parse)?;
        let given =
            check::check(text, spanned.get_ref()).map_err(|problems| SettingsError::Values {
                path: path.to_owned(),
                problems,
            })?;
        let mut table = listing::as_table(&Self::default());
        merge::merge(&mut table, toml::from_str(text).map_err(parse)?);
        let mut settings: Self = table.try_into().map_err(parse)?;
        settings.given = Given(
            given
                .into_iter()
                .map(|(key, line)| {
                    let path = path.to_owned();
                    (key, Place { path, line })
                })
                .collect(),
        );
        Ok(settings)
    }

    /// The named file, else the lake's own `voltwane.toml`, else the defaults.
    pub fn find(named: Option<&Path>, lake_folder: Option<&Path>) -> Result<Self, SettingsError> {
        if let Some(path) = named {
            return Self::read(path);
        }
        match lake_folder.map(|folder| folder.join("voltwane.toml")) {
            // Whatever stands there under that name is meant; what is no file is an error.
            Some(path) if path.exists() => Self::read(&path),
            _ => Ok(Self::default()),
        }
    }
}
