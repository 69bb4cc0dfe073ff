//! How one shop's export becomes the lake's fields.
//!
//! Reading a mapping from its file is left to [`mapping_toml`](super::mapping_toml), the set of
//! mappings a load knows to [`mappings`](super::mappings), finding the one for a header to
//! [`recognise`](super::recognise).

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono_tz::Tz;

use crate::fields::dump::DumpKind;
use crate::fields::moment::Formats;
use crate::fields::number::Marks;
use crate::fields::words::{self, ShopWords};
use crate::forms::report_text::ReportPattern;
use crate::forms::text::Layout;
use trade::date_code::DatePattern;

/// One shop's way to export one kind of dump.
#[derive(Debug, Clone)]
pub struct Mapping {
    /// Shown in messages.
    pub name: String,
    /// Where it was read from; `None` for the lake's own column names.
    pub file: Option<PathBuf>,
    pub kind: DumpKind,
    /// The shop of every row that names none.
    pub shop: Option<String>,
    /// Patterns of file names it is for, with `*`; none: any file.
    pub files: Vec<String>,
    pub layout: Layout,
    pub marks: Marks,
    /// The zone that local times are read in.
    pub zone: Tz,
    /// Cells that mean nothing, besides the usual ones.
    pub blanks: Vec<String>,
    /// Field and text, for what the file does not say or leaves blank.
    pub constants: BTreeMap<&'static str, String>,
    pub columns: Vec<ColumnRule>,
    pub words: BTreeMap<&'static str, ShopWords>,
    pub form: TextForm,
    /// How the date codes on batteries are written, where it is not by month letter and year digit.
    pub date_code: Option<DatePattern>,
}

/// What a text is to a mapping.
#[derive(Debug, Clone, Default)]
pub enum TextForm {
    /// A header and rows.
    #[default]
    Table,
    /// Diagnostic messages, whose columns are known.
    DiagnosticLog,
    /// Free text, read by patterns.
    Report(ReportPattern),
}

/// What one column of a file means.
#[derive(Debug, Clone)]
pub struct ColumnRule {
    /// The column's name in the header, matched trimmed and whatever the case.
    pub column: String,
    /// `None`: not used.
    pub field: Option<&'static str>,
    /// Whether a header without it still fits.
    pub optional: bool,
    pub unit: Option<String>,
    pub hexadecimal: bool,
    pub formats: Formats,
    /// For a reading: which kind it is.
    pub measured_kind: Option<&'static str>,
}

impl Mapping {
    /// A mapping without columns, all else as usual.
    pub fn new(name: &str, kind: DumpKind) -> Mapping {
        Mapping {
            name: name.to_owned(),
            file: None,
            kind,
            shop: None,
            files: Vec::new(),
            layout: Layout::default(),
            marks: Marks::default(),
            zone: Tz::UTC,
            blanks: Vec::new(),
            constants: BTreeMap::new(),
            columns: Vec::new(),
            words: BTreeMap::new(),
            form: TextForm::Table,
            date_code: None,
        }
    }

    /// Whether it is for tables, which are known by their header.
    pub fn is_for_tables(&self) -> bool {
        matches!(self.form, TextForm::Table)
    }

    /// Whether it is meant for a file of that name (the last part of its path).
    pub fn is_for_file(&self, name: &str) -> bool {
        let name = name.to_lowercase();
        self.files.is_empty()
            || self
                .files
                .iter()
                .any(|pattern| words::matches(&pattern.to_lowercase(), &name))
    }

    /// The columns it needs that the header lacks.
    pub fn missing_in(&self, header: &[String]) -> Vec<&str> {
        let needed = self
            .columns
            .iter()
            .filter(|rule| rule.field.is_some() && !rule.optional);
        needed
            .filter(|rule| !header.iter().any(|name| rule.is_column(name)))
            .map(|rule| rule.column.as_str())
            .collect()
    }

    /// How many of its columns the header has.
    pub fn fit(&self, header: &[String]) -> usize {
        let used = self.columns.iter().filter(|rule| rule.field.is_some());
        used.filter(|rule| header.iter().any(|name| rule.is_column(name)))
            .count()
    }
}

impl ColumnRule {
    /// A column that is read as it stands.
    pub fn plain(column: &str, field: Option<&'static str>) -> ColumnRule {
        ColumnRule {
            column: column.to_owned(),
            field,
            optional: false,
            unit: None,
            hexadecimal: false,
            formats: Formats::default(),
            measured_kind: None,
        }
    }

    pub fn is_column(&self, name: &str) -> bool {
        same_name(&self.column, name)
    }
}

/// Whether two column names are the same but for case and outer blanks.
pub fn same_name(one: &str, other: &str) -> bool {
    let (one, other) = (one.trim(), other.trim());
    one.eq_ignore_ascii_case(other) || one.to_lowercase() == other.to_lowercase()
}
