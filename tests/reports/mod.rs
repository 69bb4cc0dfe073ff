//! Reports: what a reader gets, and that no text from a dump can do harm in it.

mod at_once;
mod charts;
mod every_report;
mod hostile_text;
mod injection;
mod left_out;
mod names_replaced;
mod pages;
pub mod planner;
mod screened;
mod screening_rules;
mod templates;
mod words;
mod written;
