//! Intake: files of every kind and condition, and what becomes of them.

mod bad_input;
mod explain;
mod fields;
mod forms;

mod layout;
mod mapping;
mod plausibility;
mod reading;
mod robustness;
mod scans;
