//! Every integration test, linked once.

/// Whole commands as a user meets them.
mod command;
/// House rules kept by reading the sources.
mod house;
/// Dumps of any make, read into rows or quarantined.
mod intake;
/// Published lives, taken the whole way from dumps to the report.
mod published;
/// Estimators held against published values.
mod statistics;
/// The invented fleet and its truth.
mod synthetic;
/// The trade's standards held against their published texts.
mod trade;
/// A temporary place with the program and what it wrote.
mod workplace;
