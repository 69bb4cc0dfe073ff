//! Reports: what a reader gets, and that no text from a dump can do harm in it.

mod charts;
mod hostile_text;
mod names_replaced;
mod pages;
mod planner;
mod screened;
mod screening_rules;
mod templates;
mod words;
mod written;
