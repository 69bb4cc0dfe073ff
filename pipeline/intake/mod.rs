//! Intake: from the files shops hand over to rows of the lake.
//!
//! A file is opened down to its parts ([`container`]), a part to its tables ([`source`]), a table's
//! header is matched with a mapping ([`recognise`]), and each line becomes a row of values ([`row`])
//! that goes to the sink in Arrow batches ([`outlet`]), or goes to quarantine with a reason.
//! A bad line never stops a file; a file that cannot be trusted as a whole is one error that names
//! it and what to do. Memory is bounded, whatever the file.
//!
//! Knows the lake's tables by their columns alone: writing them, and knowing which rows are there
//! already, is left to `lake`.

mod cell;
mod columnar;
mod container;
mod delimited;
mod dump;
mod encoding;
mod error;
mod explain;
mod explain_text;
mod fault;
mod find;
mod frame_text;
mod json_lines;
mod lines;
pub mod load;
mod mapping;
mod mapping_columns;
mod mapping_file;
mod mapping_form;
mod meaning;
mod moment;
mod names;
mod number;
mod outlet;
mod plan;
mod plausible;
mod read;
mod recognise;
mod record;
mod report_text;
mod row;
mod rows;
mod scan_findings;
mod scan_log;
mod settle;
mod source;
mod suggest;
mod swapped;
mod text;
mod toml_reader;
mod unit;
mod words;
mod workbook;

pub use container::file_hash;
pub use dump::DumpKind;
pub use error::{IntakeError, MappingError};
pub use explain::{
    ColumnExplanation, ColumnUse, Explanation, ReasonCount, Recognised, TableExplanation,
    explain_file,
};
pub use find::{Found, find_files};
pub use mapping::{Mapping, Mappings};
pub use read::{FileSummary, PartSummary, QuarantinedRow, Sink, SinkError, read_file};
pub use rows::BATCH_ROWS;
pub use suggest::suggest_mapping;
