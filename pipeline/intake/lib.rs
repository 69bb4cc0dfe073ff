//! Intake: from the files shops hand over to rows of the lake.
//!
//! A file is opened down to its parts (`files`), a part to its tables ([`source`]) and their records
//! (`forms`), a table's header is matched with a mapping (`mapping`), and each line becomes a row of
//! values (`fields`, `rows`) that goes to the sink in Arrow batches, or goes to quarantine with a
//! reason. A bad line never stops a file; a file that cannot be trusted as a whole is one error that
//! names it and what to do. Memory is bounded, whatever the file.
//!
//! `rows` builds on `mapping`, `mapping` on `forms` and `fields`, `forms` on `files`. What can go
//! wrong ([`error`], [`fault`]) and where rows go ([`sink`]) is known to all; what stands beside them
//! here puts the folders together.
//!
//! Knows the lake's tables by their columns alone: writing them, and knowing which rows are there
//! already, is left to `lake`.

mod date_forms;
mod error;
mod explain;
mod explain_text;
mod fault;
mod fields;
mod files;
mod forms;
mod guess;
pub mod load;
mod mapping;
mod mend;
mod read;
mod rows;
mod sink;
mod source;
mod suggest;

pub use error::{IntakeError, MappingError};
pub use explain::{
    ColumnExplanation, ColumnUse, Explanation, ReasonCount, Recognised, TableExplanation,
    explain_file,
};
pub use fields::dump::DumpKind;
pub use files::container::file_hash;
pub use files::find::{Found, find_files};
pub use mapping::mappings::Mappings;
pub use mapping::shop_mapping::Mapping;
pub use mend::{RowToMend, Unmendable, WrittenToMend, write_to_mend};
pub use read::{FileSummary, LeftOut, PartSummary, read_file};
pub use rows::table_rows::BATCH_ROWS;
pub use sink::{QuarantinedRow, Sink, SinkError, SourceRows};
pub use suggest::suggest_mapping;
