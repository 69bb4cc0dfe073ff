//! voltwane: dumps of battery tests, code scans, work orders and the vehicle register become a lake,
//! the lake becomes a weekly report that ranks 12 V batteries to replace before they strand anyone.
//!
//! The rooms are crates of their own, so that the compiler keeps their borders; this one holds the
//! command line and names them all for whoever uses the library.

pub mod cli;

pub use {intake, lake, rehearse, report, risk, settings, statistics, synthetic, tables, trade};
