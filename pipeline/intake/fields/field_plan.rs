//! How one field of a dump is read: from which cells, in which formats, with which words.
//!
//! Reading a cell by it is left to [`cell`](super::cell); laying a mapping over a header, which makes
//! it, to `mapping`.

use super::meaning::Meaning;
use super::moment::Formats;
use super::unit::{Dimension, Unit};
use super::words::ShopWords;
use lake::tables::Column;

/// How one field is read.
#[derive(Debug, Clone)]
pub struct FieldPlan {
    pub column: &'static Column,
    pub meaning: Meaning,
    /// Where it stands, in the file's order; none: the file does not have it.
    pub cells: Vec<CellPlan>,
    pub formats: Formats,
    pub constant: Option<String>,
    pub words: ShopWords,
    /// Whether a row without it is of no use.
    pub required: bool,
}

/// One column that a field is read from.
#[derive(Debug, Clone)]
pub struct CellPlan {
    pub index: usize,
    /// As the mapping names it; its dimension may hang on the row's kind of reading.
    pub unit: Option<String>,
    pub hexadecimal: bool,
    pub measured_kind: Option<&'static str>,
}

impl CellPlan {
    /// The unit to convert from; `None` when it is the lake's own or measures something else.
    pub fn unit_of(&self, dimension: Dimension) -> Option<Unit> {
        Unit::find(self.unit.as_deref()?, dimension)
    }
}
