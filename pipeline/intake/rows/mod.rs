//! From a record to a row of the lake: its values, what follows from them, what cannot be, and the
//! batches that rows leave in.
//!
//! Only what one line shows; what takes several lines to see is left to the lake's own check.

pub mod complete_row;
pub mod plausible;
pub mod row;
pub mod row_batches;
pub mod row_cells;
pub mod swapped;
pub mod table_rows;
