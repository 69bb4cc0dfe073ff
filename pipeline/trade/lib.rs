//! What the trade and its standards say: words, vehicle identification numbers, trouble codes,
//! diagnostic messages, battery tests, date codes and the calendar.
//!
//! Pure functions over values and byte slices: no files, no tables, no SQL, no clock. A function
//! fails by returning an error that holds the evidence; none panics. Reading dumps is left to
//! `intake`, deciding what a fleet should do to `analysis`.

pub mod battery;
pub mod calendar;
pub mod code_group;
pub mod code_text;
pub mod date_code;
pub mod derived_words;
pub mod diagnostics;
pub mod heavy_code;
pub mod recovery;
pub mod trouble_code;
pub mod vin;
pub mod visit_reason;
pub mod words;
