//! The design of a fit: one row of numbers for each answer.
//!
//! Fails for cells that are not finite or do not fill the rows. What a column means is left to the
//! caller.

use crate::input::{InputError, all_finite, same_length};

/// Rows of numbers, one after another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design<'a> {
    pub columns: usize,
    pub values: &'a [f64],
}

impl<'a> Design<'a> {
    /// So many rows of finite cells.
    pub(crate) fn check(&self, rows: usize) -> Result<(), InputError> {
        same_length(
            "design cells",
            self.values.len(),
            "rows times columns",
            rows.saturating_mul(self.columns),
        )?;
        all_finite("design cell", self.values)
    }

    pub fn row(&self, index: usize) -> &'a [f64] {
        &self.values[index * self.columns..(index + 1) * self.columns]
    }
}
