//! Intake: files of every kind and condition, and what becomes of them.

mod bad_input;
mod diagnostic_logs;
mod explain;
mod fields;
mod forms;
mod layout;
mod left_out;
mod mapping;
mod plausibility;
mod reading;
mod reports;
mod robustness;
mod scans;
