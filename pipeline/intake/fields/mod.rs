//! The fields of a dump: what each means, and how one cell's text becomes its value.
//!
//! Knows neither files nor mappings; whether a row as a whole holds is left to `rows`.

pub mod cell;
pub mod dump;
pub mod field_plan;
pub mod meaning;
pub mod moment;
pub mod number;
pub mod unit;
pub mod words;
