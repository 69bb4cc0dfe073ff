//! Reports: derived tables read into typed rows, said in words, written as Markdown, charts and
//! tables.
//!
//! It fails when a table it reads does not have the columns it is read by, when a template is not
//! right, or when a file cannot be written; a report is written whole or not at all. What the numbers
//! are is the analysis's business, what they are called is this folder's.

pub mod cells;
pub mod chart;
pub mod comebacks;
pub mod document;
pub mod files;
pub mod history;
pub mod once;
pub mod page;
pub mod pseudonym;
pub mod screen;
pub mod section;
pub mod sections;
pub mod style;
pub mod table_files;
pub mod templates;
pub mod texts;
mod trade_terms;
pub mod weekly;
pub mod words;
mod workbook_origin;

use std::path::PathBuf;

use lake::LakeError;
use tables::AnalysisError;

/// Why a report could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    #[error(transparent)]
    Analysis(#[from] AnalysisError),
    #[error(transparent)]
    Lake(#[from] LakeError),
    #[error(
        "the report's template {template} takes more than {steps} steps: mend it, or raise \
         limits.template_steps in voltwane.toml"
    )]
    TemplateSteps { template: String, steps: i64 },
    #[error("the report's template {template} is not right: {source}")]
    Template {
        template: String,
        #[source]
        source: minijinja::Error,
    },
    #[error(
        "{path} is the name of no template: rename it to one of {}, or to a name that begins with _ if \
         another template includes it", names.join(", ")
    )]
    UnknownTemplate {
        path: PathBuf,
        names: Vec<&'static str>,
    },
    #[error("there is no folder of templates at {0}: name one, or leave --templates out")]
    NoTemplates(PathBuf),
    #[error(
        "the report is at {}, but what it says could not be kept in the lake, so later reports will not look \
         back on it: {source}",
        report.display()
    )]
    NotKept {
        report: PathBuf,
        #[source]
        source: Box<ReportError>,
    },
    #[error(transparent)]
    Key(#[from] pseudonym::KeyError),
    #[error(transparent)]
    Inventory(#[from] screen::InventoryError),
    #[error(
        "there is no vehicle {0} in the lake: give its unit number or its 17 characters as the register has them"
    )]
    NoSuchVehicle(String),
    #[error("{name} is the unit number of several vehicles: give one of {}", .vins.join(", "))]
    SeveralVehicles { name: String, vins: Vec<String> },
    #[error("{path} could not be written: {source}")]
    Write {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("the table {table} could not be written: {source}")]
    Table {
        table: String,
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}
