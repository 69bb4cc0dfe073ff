//! Every integration test, linked once.

/// Failure rates by cohort, heat, ends that compete, calls that repeat.
mod cohorts;
/// Whole commands as a user meets them.
mod command;
/// What a vehicle, a battery and a failure are, in records as they really are.
mod definitions;
/// Small lakes with known answers: testers, noise, recoveries.
mod definitions_codes;
/// Floods, latched codes and recoveries, held against the truth of invented fleets.
mod floods;
/// SQL functions: documented, known values, the same however a group is split.
mod functions;
/// House rules kept by reading the sources.
mod house;
/// Dumps of any make, read into rows or quarantined.
mod intake;
/// The lake: writers at once, runs cut short, damaged logs.
mod lake;
/// Published lives, taken the whole way from dumps to the report.
mod published;
/// Reports: what a reader gets, and that no text from a dump can do harm in it.
mod rehearse;
mod reports;
/// The risk model: reference fits, hindsight, fleets that say little, the backtest.
mod risk;
/// Estimators held against published values.
mod statistics;
/// What the program is built of.
mod supply;
/// The invented fleet and its truth.
mod synthetic;
/// Derived tables made bucket by bucket, within their memory.
mod tables;
/// The trade's standards held against their published texts.
mod trade;
/// A temporary place with the program and what it wrote.
mod workplace;
