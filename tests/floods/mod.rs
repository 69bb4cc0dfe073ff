//! Floods, latched codes and recoveries, held against the truth of invented fleets.

/// Adjusted chances and laws of counts as the estimators give them.
mod chances;
/// Comebacks, wrong parts and unfinished work.
mod comebacks;
/// The steps of recoveries, from happenings made by hand.
mod recovery;
/// What is found in invented fleets, and what the fleets' truth says.
mod truth;
