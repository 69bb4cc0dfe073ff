//! Sees that two cells of a row stand in each other's column.
//!
//! Asked only about rows that are at fault: when each of two cells cannot be read where it stands,
//! or only one cannot, but both can where the other stands, that is the likelier story.

use super::row_cells::RowCells;
use crate::fault::{Fault, quoted};
use crate::fields::field_plan::FieldPlan;
use crate::fields::meaning::Meaning;
use crate::forms::record::Record;

/// The fault as one of two swapped columns, if it is.
pub fn explain(cells: &RowCells<'_>, record: &Record, fault: &Fault) -> Option<Fault> {
    let name = fault.field?;
    let layout = cells.layout;
    let wrong = layout
        .fields
        .iter()
        .find(|field| field.column.name == name)?;
    let (wrong_index, wrong_text) = cells.text(wrong, record)?;
    // What stands alone in its column and is at fault; a fault of the whole row is no swap.
    if wrong.cells.len() != 1 || cells.would_read(wrong, &wrong_text) {
        return None;
    }
    let fitting = layout
        .fields
        .iter()
        .filter(|other| may_swap(wrong, other))
        .filter_map(|other| {
            let (index, text) = cells.text(other, record)?;
            let fits = cells.would_read(wrong, &text) && cells.would_read(other, &wrong_text);
            fits.then(|| (cells.would_read(other, &text), index, text))
        });
    // Best is a cell that is at fault where it stands, too.
    let (_, other_index, other_text) =
        fitting.min_by_key(|(reads_in_place, ..)| *reads_in_place)?;
    let detail = format!(
        "{} has {} and {} has {}",
        quoted(&layout.header[wrong_index]),
        quoted(wrong_text.trim()),
        quoted(&layout.header[other_index]),
        quoted(other_text.trim())
    );
    Some(Fault::field(
        wrong.column.name,
        "two columns look swapped",
        detail,
    ))
}

/// Whether a swap of the two could be told from chance. Free text takes anything, so it counts only
/// beside a field that takes next to nothing; two words or flags say too little.
fn may_swap(wrong: &FieldPlan, other: &FieldPlan) -> bool {
    let strict = matches!(
        wrong.meaning,
        Meaning::Vin | Meaning::Code | Meaning::Instant(_) | Meaning::Day(_)
    );
    let free = matches!(other.meaning, Meaning::Text | Meaning::Position);
    other.column.name != wrong.column.name && other.cells.len() == 1 && (strict || !free)
}
