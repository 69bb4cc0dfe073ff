//! What can stop a whole file, or a mapping, from being read.
//!
//! Every message names the file, shows the evidence and says what to do. One bad row is not an
//! error: it goes to quarantine with a [`Fault`](super::fault::Fault).

use std::path::PathBuf;

/// Why a file, or a folder of files, could not be read at all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    #[error("{}: cannot be read ({source}); check that it exists and that you may read it", file.display())]
    Unreadable {
        file: PathBuf,
        source: std::io::Error,
    },

    #[error("{file}: is empty; export it again, or leave it out")]
    Empty { file: String },

    #[error(
        "{file}: ends in the middle of its compressed data; copy or export it again, the rows before the cut were not loaded"
    )]
    CutOff { file: String },

    #[error(
        "{file}: its compressed data is damaged ({evidence}); copy or export it again, nothing of it was loaded"
    )]
    Damaged { file: String, evidence: String },

    #[error("{file}: is {looks_like}, not text; {remedy}")]
    NotText {
        file: String,
        looks_like: &'static str,
        remedy: &'static str,
    },

    #[error(
        "{file}: is in {encoding}, which is not read; save it as UTF-8, or name its encoding in the mapping"
    )]
    Encoding {
        file: String,
        encoding: &'static str,
    },

    #[error(
        "{file}: not recognised by its header [{header}]; {nearest}write a mapping for it \
         (see what `load --try` says about the file) and pass the mapping's folder along"
    )]
    UnknownKind {
        file: String,
        header: String,
        nearest: String,
    },

    #[error(
        "{file}: the mappings \"{first}\" and \"{second}\" both fit its header; give one of them a `files` pattern \
         that only its own files match"
    )]
    TwoMappings {
        file: String,
        first: String,
        second: String,
    },

    #[error(
        "{file}: the column \"{column}\" stands twice in the header; rename one of them or ignore it in a mapping"
    )]
    ColumnTwice { file: String, column: String },

    #[error("{file}: no line end in the first {bytes} bytes, so no header; it is no table")]
    NoHeader { file: String, bytes: usize },

    #[error("{file}: {evidence}; {remedy}")]
    Form {
        file: String,
        evidence: String,
        remedy: &'static str,
    },

    #[error(
        "{file}: {what}; nothing of it was loaded. If it is right, raise {setting} in voltwane.toml"
    )]
    PastLimit {
        file: String,
        what: String,
        setting: &'static str,
    },

    #[error("{file}: {count} more of its members could not be read, the first of them: {first}")]
    MoreMembers {
        file: String,
        count: usize,
        first: Box<IntakeError>,
    },

    #[error("{file}: the rows could not be passed on: {source}")]
    Sink {
        file: String,
        source: Box<dyn std::error::Error + Send + Sync>,
    },

    #[error(transparent)]
    Mapping(#[from] MappingError),
}

impl IntakeError {
    /// The file, member or sheet that could not be read.
    pub fn file(&self) -> String {
        match self {
            IntakeError::Unreadable { file, .. } => file.display().to_string(),
            IntakeError::Empty { file }
            | IntakeError::CutOff { file }
            | IntakeError::Damaged { file, .. }
            | IntakeError::NotText { file, .. }
            | IntakeError::Encoding { file, .. }
            | IntakeError::UnknownKind { file, .. }
            | IntakeError::TwoMappings { file, .. }
            | IntakeError::ColumnTwice { file, .. }
            | IntakeError::NoHeader { file, .. }
            | IntakeError::Form { file, .. }
            | IntakeError::PastLimit { file, .. }
            | IntakeError::MoreMembers { file, .. }
            | IntakeError::Sink { file, .. } => file.clone(),
            IntakeError::Mapping(error) => error.file.display().to_string(),
        }
    }

    /// Whether it is no fault of the file, so that going on to the next is no use.
    pub fn stops_the_load(&self) -> bool {
        matches!(self, IntakeError::Sink { .. } | IntakeError::Mapping(_))
    }
}

/// What goes past a limit while bytes are read, on its way through readers that know only
/// [`std::io::Error`].
#[derive(Debug, thiserror::Error)]
#[error("{what} ({setting})")]
pub struct PastLimit {
    pub what: String,
    pub setting: &'static str,
}

/// What is wrong in a mapping file, with the place.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}, line {line}, `{key}`: {problem}; {remedy}", file.display())]
pub struct MappingError {
    pub file: PathBuf,
    /// Counted from 1.
    pub line: usize,
    /// The key at fault, dotted as in the file.
    pub key: String,
    pub problem: String,
    pub remedy: String,
}
